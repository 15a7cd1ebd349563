package sim

import (
	"maps"
	"math/rand/v2"
	"slices"

	"holdfast/sim/fluid"
	h "holdfast/sim/hydraulic"
	"holdfast/sim/unit"
)

// design is one unit on one bench before it moves: what is true about them.
type design struct {
	unit      unit.Unit
	circuit   h.Parameters
	ambient   float64 // Pa
	room      float64 // °C
	tank      float64 // °C, in the reservoir
	supply    float64 // V at the bench terminals
	reservoir float64 // kg at the start
	ice       float64 // kg in unit and pick-up at the start
	water     float64 // 0..1: share of water in the fluid
	batch     fluid.Batch
	tacho     float64 // standard normal: how wrong the unit's own speed is
}

// newDesign draws a healthy unit and a bench, then gives the unit its faults. The spread is
// that of good units of one kind (common practice, no source), cut at two standard deviations;
// Options.Spread widens it. What the rig file states of the bench with a U (k = 2) is drawn as an
// instrument's error is: normal, not cut, and no wider than stated whatever the spread.
func newDesign(o Options, rng *rand.Rand) design {
	d := design{unit: unit.Reference(), circuit: h.Reference()}
	spread := o.spread()
	normal := func(mean, sd float64) float64 { return mean + spread*sd*min(max(rng.NormFloat64(), -2), 2) }
	stated := func(mean, sd float64) float64 { return mean + min(spread, 1)*sd*rng.NormFloat64() }
	vary := func(v *float64, share float64) { *v *= normal(1, share) }

	vary(&d.unit.Stroke, 0.01)
	vary(&d.unit.Efficiency, 0.005)
	vary(&d.unit.Motor.Resistance, 0.02)
	vary(&d.unit.Motor.Friction, 0.05)
	vary(&d.unit.Coil.R20, 0.015)
	vary(&d.unit.Heater.R20, 0.02)
	d.unit.Sensor.Offset = normal(0, 0.02*h.Bar)
	d.unit.Sensor.Gain = normal(1, 0.002)
	d.unit.SensorFeed = normal(5, 0.01)
	d.circuit.LineVolume = stated(38, 0.5) * h.ML
	d.circuit.CheckOpening = max(stated(0.30, 0.025), 0.05) * h.Bar
	vary(&d.circuit.ReturnCdA, 0.02)
	vary(&d.circuit.Compliance, 0.04)
	vary(&d.circuit.LaminarLeak, 0.2)
	vary(&d.circuit.DoseCdA, 0.005)

	d.ambient = 100e3 + 4e3*min(spread, 1)*(rng.Float64()-0.5)
	d.room = normal(22+o.Room, 0.5)
	d.tank = normal(d.room+o.Tank, 0.3)
	d.supply = normal(24, 0.03)
	d.reservoir = normal(3, 0.1)
	own := rand.New(rand.NewPCG(o.Seed, laterStream))
	batch := fluid.DrawBatch(own, min(spread, 1))
	if o.Fluid == fluid.DEF {
		d.batch = batch
	}
	d.tacho = min(spread, 1) * own.NormFloat64()

	for _, name := range slices.Sorted(maps.Keys(o.Faults)) {
		faultNamed(name).do(&d, o.Faults[name])
	}
	return d
}

// laterStream is the stream of what was added after the first units had been drawn: a seed's unit and
// instruments are what they were before fluids differed.
const laterStream = 0x62617463682d6466
