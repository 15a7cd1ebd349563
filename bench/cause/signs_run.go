package cause

import (
	"fmt"
	"math"

	"holdfast/bench/characteristic"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// unreached is pressure that did not come: of no use when the run never tried.
func (e *evidence) unreached() {
	for _, s := range e.rec.Steps {
		if s.Kind != scenario.Prime && s.Kind != scenario.Pressurise && s.Kind != scenario.Repressurise {
			continue
		}
		f := &e.f[notReached]
		if s.Kind == scenario.Prime {
			f = &e.f[primeVain]
		}
		switch s.Outcome {
		case samples.Done:
			f.known = true
		case samples.TimedOut:
			*f = feature{known: true, z: 2 * atLimit,
				text: fmt.Sprintf("pressure not reached in the %s step within %.0f s", s.Kind, s.End.Seconds(s.Start))}
			return
		}
	}
}

// purged is how the line emptied: by time and by what is left, whichever is worse.
func (e *evidence) purged() {
	e.plain(purge, characteristic.PurgeTime, "purge time")
	left := measure.Find(e.chars, characteristic.PurgeResidual, "")
	b, _ := e.bandOf(characteristic.PurgeResidual)
	if left.State == measure.NotMeasured {
		return
	}
	f := &e.f[purge]
	if z := b.z(left.Value, left.U/2); !f.known || z > f.z {
		f.known, f.z = true, z
		f.text = fmt.Sprintf("%s left in the line after the purge (%s)", quantity(left), b.limits())
	}
	coil := measure.Find(e.chars, characteristic.CoilResistance, "")
	switch b, _ := e.bandOf(characteristic.CoilResistance); {
	case coil.State == measure.NotMeasured:
	case coil.State == measure.Measured && math.Abs(b.z(coil.Value, coil.U/2)) < atLimit:
		f.text += ", coil in order at " + quantity(coil)
	default:
		f.text += fmt.Sprintf(", coil %s (%s)", quantity(coil), b.limits())
	}
}

// steadyBand is what a healthy unit's pressure does under regulation, pulsation taken out, in bar.
// Our choice, after a look at the simulated bench; no real bench has confirmed it.
var steadyBand = band{0.02, none, 0.1}

// swings is pressure that the regulator does not get to rest.
func (e *evidence) swings() {
	if e.seen.Swings {
		e.f[unsteady] = feature{known: true, z: steadyBand.z(e.seen.Swing, 0),
			text: fmt.Sprintf("pressure swings by %.2f bar (standard deviation, pulsation taken out) under regulation",
				e.seen.Swing)}
	}
}

// invalidShare is the share of sensor readings that must be invalid to be a sign of its own:
// some are always missing, before the unit has its power.
const invalidShare = 0.05

// stoodStill is a sensor whose reading is pinned or missing while the reference lives.
func (e *evidence) stoodStill() {
	valid, bad := e.seen.Readings[rig.LinePressure], e.rec.Invalid[rig.LinePressure]
	gauge := e.seen.Readings[rig.ReferencePressure] > 0
	if valid+bad == 0 || !gauge && e.seen.Readings[rig.PumpSpeed] == 0 {
		return // nothing else lives: the bus, not the sensor
	}
	f := feature{known: true}
	if e.seen.Stood && gauge {
		f.z = 4 * atLimit
		f.text = fmt.Sprintf("sensor reading stood still at %.1f s while the gauge moved", e.seen.StoodAt.Seconds(e.rec.Start))
	}
	if share := float64(bad) / float64(valid+bad); share > invalidShare {
		f.z = 4 * atLimit
		f.text = fmt.Sprintf("%.0f %% of the sensor's readings were an error indicator or missing", 100*share)
	}
	if f.z > 0 || gauge {
		e.f[pinned] = f
	}
}
