package sim

import (
	"math"
	"math/rand/v2"

	"holdfast/sim/controller"
	"holdfast/sim/fluid"
	h "holdfast/sim/hydraulic"
	"holdfast/sim/rig"
	"holdfast/sim/unit"
)

// plant is unit, circuit and bench hardware in motion. Its inner loop allocates nothing.
type plant struct {
	unit    unit.Unit
	circuit *h.Circuit
	kind    fluid.Kind
	design  design
	rng     *rand.Rand
	dt      float64 // s, of the integration; a whole part of a tick

	in      h.Inputs
	port    unit.Port
	pulse   h.Pulse
	command rig.Commands
	drive   unit.Commands

	celsius float64 // of the fluid in line and unit
	settled float64 // the temperature at which the fluid's properties were last taken
	ice     float64 // kg in unit and pick-up
	slug    float64 // of the air drawn in: a random process of unit variance

	// Since the last tick, for the instruments that average.
	turned, amps, returned float64
	// What the instruments' own filters show.
	flow, speed, current, beaker float64
}

// Time constants of instruments and bench valves, s. Common practice, no source.
const (
	step        = 1e-3 // the grid of the integration
	tick        = 10e-3
	flowLag     = 0.30 // return flow meter
	speedLag    = 0.05
	currentLag  = 0.02
	scaleLag    = 0.15
	slugTime    = 0.12 // how long a slug of air lasts
	slugDepth   = 0.45 // standard deviation of the air share over its mean
	shutoffTime = 0.03 // bench valves, stop to stop
	ventTime    = 0.02
)

func newPlant(d design, kind fluid.Kind, rng *rand.Rand) *plant {
	p := &plant{design: d, unit: d.unit, kind: kind, rng: rng, dt: step, celsius: d.room, ice: d.ice}
	p.circuit = h.New(d.circuit, kind, d.room, d.ambient, d.reservoir)
	p.in.ReturnOpen = 1
	p.freeze()
	p.takeProperties()
	return p
}

// obey takes over the node's outputs.
func (p *plant) obey(c rig.Commands) {
	p.command = c
	p.drive = unit.Commands{Power: c.Power, Drive: c.Drive, Valve: c.Valve, Heater: c.Heater}
	p.pulse.Set(c.Duty)
}

// advance integrates one step of the grid.
func (p *plant) advance() {
	c := p.circuit
	p.in.DoseOpen = p.pulse.Step(p.dt, c.DoseFrequency, c.DoseLost)
	p.in.ReturnOpen = towards(p.in.ReturnOpen, !p.command.Shutoff, p.dt/shutoffTime)
	p.in.VentOpen = towards(p.in.VentOpen, p.command.Vent, p.dt/ventTime)
	p.port.Gauge = c.Gauge()
	p.unit.Step(p.dt, &p.drive, p.design.supply, &p.port, &p.in)
	c.Step(p.dt, &p.in)
	p.turned += p.unit.Motor.Speed
	p.amps += p.unit.Motor.Current
}

func towards(x float64, open bool, by float64) float64 {
	if open {
		return min(x+by, 1)
	}
	return max(x-by, 0)
}

// observe runs once a tick: filters, temperature, and the air that is drawn in.
func (p *plant) observe() {
	n := tick / p.dt
	returned := p.circuit.Returned - p.returned
	p.returned = p.circuit.Returned
	lag(&p.flow, returned/tick/h.MLPerMin, flowLag)
	lag(&p.speed, p.turned/n*unit.PerMinute, speedLag)
	lag(&p.current, p.amps/n, currentLag)
	lag(&p.beaker, p.circuit.Beaker*1000, scaleLag)
	p.turned, p.amps = 0, 0
	p.warm(returned)
	if mean := p.design.circuit.SuctionAir; mean > 0 {
		p.slug += -p.slug*tick/slugTime + math.Sqrt(2*tick/slugTime)*p.rng.NormFloat64()
		p.circuit.SuctionAir = min(max(mean*(1+slugDepth*p.slug), 0), 0.95)
	}
}

func lag(shown *float64, truth, time float64) { *shown += (truth - *shown) * -math.Expm1(-tick/time) }

// fullTank is what the bench's reservoir holds, kg.
const fullTank = 5.0

// How well a unit knows its own speed, k = 2, as the shipped rig file states it (common practice, no source).
const (
	tachoOfReading = 0.01
	tachoAbsolute  = 5.0 // r/min
)

// senses is what a unit's own controller sees, from the same sample of its sensor.
func (p *plant) senses(r *rig.Readings) controller.Senses {
	return controller.Senses{Pressure: r.UnitPressure, PressureOK: r.UnitSensor == rig.SensorRead,
		Speed: p.speed + p.design.tacho/2*(tachoOfReading*p.speed+tachoAbsolute), Coil: p.unit.Coil.Current, Fluid: p.celsius, Tank: p.design.tank,
		TankShare: p.circuit.Reservoir / fullTank, Powered: p.drive.Power}
}

// inAir is what a scale shows of a kilogram of fluid: it was adjusted with weights of 8000 kg/m3, and air of
// 1.2 kg/m3 bears up both (OIML D 28, conventional value of the result of weighing; from memory).
func inAir(density float64) float64 { return (1 - 1.2/density) / (1 - 1.2/8000) }

// readings is what the instruments see now.
func (p *plant) readings(r *rig.Readings) {
	c, u := p.circuit, &p.unit
	shown := inAir(c.Density())
	*r = rig.Readings{
		Pressure: c.Pressure / 1e3, ReturnFlow: p.flow, PumpSpeed: p.speed,
		Supply: p.design.supply, UnitVoltage: u.Voltage,
		PumpCurrent: p.current, ValveCurrent: u.Coil.Current, HeaterAmps: u.Heater.Current,
		Beaker: p.beaker * shown, SensorFeed: u.Sensor.Supply, Fluid: p.celsius, Ambient: p.design.room,
		Barometer: p.design.ambient / 1e3, Reservoir: c.Reservoir * 1000 * shown,
		ShutoffShut: p.in.ReturnOpen < 0.5, OwnUnit: r.OwnUnit, Emergency: r.Emergency, GuardOpen: r.GuardOpen,
	}
	if !p.drive.Power {
		r.UnitSensor = rig.SensorUnfed
		return
	}
	pa, ok := u.Sensor.Read(u.Sensor.Output(c.Pressure, p.rng.NormFloat64()))
	r.UnitPressure = pa / 1e3
	if !ok {
		r.UnitSensor = rig.SensorBroken
	}
}
