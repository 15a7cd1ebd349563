package predict

import (
	"math"
	"time"

	"holdfast/bench/control"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// tick is the grain of the course: the fastest channels of a bench send every 10 ms.
const tick = 5 * time.Millisecond

// course is the state of bench and unit while the plan goes on. It knows no step: the circuit answers to what the pump
// is driven with and to what stands open, and control says what that is, as it does to the engine.
type course struct {
	circuit
	shaft
	harness *control.Control // what is sent to the bench
	own     *control.Control // what the unit's own controller does with pump and valves; nil of a bare unit
	sent    rig.Outputs
	driven  rig.Outputs // what pump and valves do; of a bare unit what is sent

	t         time.Duration // since the start of the run
	next      time.Duration // when the next command cycle begins
	pressure  float64       // bar gauge
	seen      float64       // bar gauge, the last reading of the unit's sensor
	highest   float64       // bar gauge, the highest last reading of all gauges
	empty     float64       // mL missing in the line
	gas       float64       // mL bar (absolute) of bubbles in the line
	beaker    float64       // g
	tank      float64       // g
	dosing    float64       // g/min through the dosing valve now
	back      float64       // mL/min through the return, as a flow meter shows it
	energised time.Duration // for how long the return valve has been energised
}

func newCourse(p *scenario.Plan, r *rig.Rig, beside float64) *course {
	c := &course{circuit: circuitOf(r, p.Nominal), harness: control.New(r, p.Nominal), tank: 2000}
	c.empty, c.shaft.stroke, c.angle = c.line+suction, c.circuit.stroke, 2*math.Pi*beside
	if r.Kind == rig.Controller {
		// What a harness does with a bare unit is what a unit's own controller is expected to do.
		own := *r
		own.Kind, own.Cycle, own.Regulator = rig.Bare, ownCycle, ownLoop
		c.own = control.New(&own, p.Nominal)
	}
	return c
}

// begin enters a step.
func (c *course) begin(s scenario.Step) {
	c.harness.Begin(s)
	if c.own != nil {
		c.own.Begin(s)
	}
}

func (c *course) at(t time.Duration) clock.Instant { return epoch.Add(t) }

// view is what a step sees when a cycle begins: the last readings, with their noise and the pulsation that they met.
func (c *course) view() control.Seen {
	return control.Seen{Now: c.at(c.next), Line: control.Gauge{Bar: c.seen, Known: true},
		Highest: control.Gauge{Bar: c.highest, Known: true}}
}

// cycle begins a command cycle.
func (c *course) cycle() {
	c.sent = c.harness.Outputs(c.view())
	if c.own == nil {
		c.driven = c.sent
	}
}

// advance lets one tick pass.
func (c *course) advance() {
	if c.own != nil && c.t%ownCycle < tick { // it has its sensor at hand, not what it reports of it
		c.driven = c.own.Outputs(control.Seen{Now: c.at(c.t), Line: control.Gauge{Bar: c.pressure, Known: true}})
	}
	dt, drive, back := tick.Seconds(), c.driven[rig.SetPumpDrive], 0.0
	c.dosing = 0
	if c.energised += tick; c.driven[rig.SetReturnValve] == 0 {
		c.energised = 0
	}
	switch {
	case c.driven[rig.SetVent] == 1:
		c.turn(dt, drive, c.pressure)
		c.pressure -= c.pressure * dt / empties
	case c.driven[rig.SetReturnShutoff] == 1:
		c.dose()
		c.stand(dt)
	case c.energised > valveMoves:
		c.suck(dt, drive)
	default:
		c.dose()
		c.deliver(dt, drive)
		if c.empty <= 0 {
			back = c.returns(c.pressure) * (1 - c.void())
		}
	}
	c.beaker += c.dosing / 60 * dt
	c.back += (back - c.back) * dt / flowShown
	c.t += tick
}

// dose opens the pulsed dosing valve for its part of the tick.
func (c *course) dose() {
	if duty := c.driven[rig.SetDosingDuty]; duty > 0 && c.empty <= 0 {
		flow, fraction := c.opens(c.pressure, duty)
		c.dosing = flow * c.opened(fraction)
	}
}

// deliver turns the shaft: what leaves the pump fills the empty line, and the full one takes it up.
func (c *course) deliver(dt, drive float64) {
	flow := c.turn(dt, drive, c.pressure)
	if c.empty <= 0 {
		c.flow(flow, dt)
		return
	}
	if c.empty -= flow; c.empty <= bubbles*c.line { // the front is there, and not flat
		c.empty, c.gas = 0, bubbles*c.line*(c.pressure+barometer)
	}
	if flow > 0 {
		c.pressure = math.Max(c.pressure, c.rig.CheckValve.Value) // the air goes out through the return
	}
	c.tank -= flow * c.density
}

// flow is the balance of the full line over one tick in which so much (mL) is pumped in. The return takes bubbles
// along by their share, and lets as much more through as they make the flow lighter.
func (c *course) flow(pumped, dt float64) {
	dosed := c.dosing / c.density / 60 * dt
	void := c.void()
	back := c.returns(c.pressure) / math.Sqrt(1-void) / 60 * dt
	c.tank -= (pumped - back*(1-void)) * c.density
	c.pressure = math.Max(0, c.pressure+(pumped-back-dosed)/c.soft())
	c.gas -= void * back * (c.pressure + barometer)
}

// void is the bubbles' share of the line.
func (c *course) void() float64 { return c.gas / (c.pressure + barometer) / c.line }

// soft is the compliance with the bubbles', which is V/p at constant temperature, mL/bar.
func (c *course) soft() float64 {
	return compliance + c.gas/((c.pressure+barometer)*(c.pressure+barometer))
}

// opened is the part of this tick in which the pulsed dosing valve is open.
func (c *course) opened(fraction float64) float64 {
	f := c.rig.Dosing.Frequency
	if f <= 0 || fraction >= 1 {
		return math.Min(1, fraction)
	}
	turns := c.t.Seconds() * f
	from := turns - math.Floor(turns)
	to := from + tick.Seconds()*f
	open := math.Max(0, math.Min(to, fraction)-from) + math.Max(0, math.Min(to-1, fraction))
	return open / (to - from)
}

// stand is a line that is shut in: it leaks, the dosing valve takes out what it lets through, and the shaft runs
// out against the shut return.
func (c *course) stand(dt float64) {
	taken := leak/60*c.pressure/c.nominal*dt - c.turn(dt, 0, c.pressure) + c.dosing/c.density/60*dt
	c.pressure = math.Max(0, c.pressure-taken/c.soft())
}

// suck is a line that is being emptied, once the directional valve has moved: the line's pressure falls through the
// pump's own two valves, by the orifice law, and what its stretched parts held goes back to the tank; then the pump
// draws the liquid out.
func (c *course) suck(dt, drive float64) {
	drawn := c.turn(dt, drive, 0) * wayBack
	fall := math.Min(c.pressure, (c.orifice(pumpValves, c.pressure)/60*dt+drawn)/c.soft())
	c.pressure -= fall
	c.tank += fall * c.soft() * c.density
	if c.pressure <= 0 && c.empty < c.line-residual {
		c.empty += drawn
		c.tank += drawn * c.density
	}
}
