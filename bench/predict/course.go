package predict

import (
	"math"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// tick is the grain of the course: the fastest channels of a bench send every 10 ms.
const tick = 5 * time.Millisecond

// course is the state of bench and unit while the plan goes on.
type course struct {
	circuit
	shaft
	step     scenario.Step
	t        time.Duration // since the start of the run
	in       time.Duration // since the start of the step
	pressure float64       // bar gauge
	seen     float64       // bar gauge, the last reading of the unit's sensor
	empty    float64       // mL missing in the line
	gas      float64       // mL bar (absolute) of bubbles in the line
	drive    float64       // %
	beaker   float64       // g
	tank     float64       // g
	dosing   float64       // g/min through the dosing valve now
	back     float64       // mL/min through the return, as a flow meter shows it
	since    time.Duration // for how long what the step waits for has held
	integral float64       // % drive, of the pressure loop
	running  bool          // the pressure loop runs
	full     bool          // the step's line has been filled
	out      rig.Outputs
}

func newCourse(p *scenario.Plan, r *rig.Rig, beside float64) *course {
	c := &course{circuit: circuitOf(r, p.Nominal), tank: 2000}
	c.empty, c.shaft.stroke, c.angle = c.line+suction, c.circuit.stroke, 2*math.Pi*beside
	return c
}

// begin enters a step.
func (c *course) begin(s scenario.Step) { c.step, c.in, c.since, c.full = s, 0, 0, false }

// advance lets one tick pass.
func (c *course) advance() {
	dt := tick.Seconds()
	c.dosing = 0
	if !c.step.Pressurises() && c.step.Kind != scenario.Purge {
		c.drive = 0
	}
	if !c.step.Pressurises() {
		c.running = false
	}
	switch s := c.step; s.Kind {
	case scenario.Prime:
		c.fill(s.Pressure, 1.25*s.Pressure, dt) // as the engine does; a unit of its own is expected to do alike
	case scenario.Repressurise:
		c.fill(2, s.Pressure, dt) // as the engine does: at the step's drive up to 2 bar
	case scenario.Pressurise, scenario.Hold, scenario.Dose:
		c.regulate(s.Pressure, dt)
	case scenario.Ask:
		if s.Pressurises() {
			c.regulate(s.Pressure, dt)
		} else {
			c.pressure -= c.pressure * dt / empties
		}
	case scenario.Compliance, scenario.LeakDown:
		c.stand(dt)
	case scenario.Purge:
		c.suck(dt)
	default:
		c.pressure -= c.pressure * dt / empties
	}
	c.beaker += c.dosing / 60 * dt
	back := 0.0
	if c.step.Pressurises() && c.empty <= 0 {
		back = c.returns(c.pressure) * (1 - c.void())
	}
	c.back += (back - c.back) * dt / flowShown
	c.t, c.in = c.t+tick, c.in+tick
	c.out = c.outputs()
}

// fill runs the pump at the step's drive until the line is full and answers, then regulates.
func (c *course) fill(answers, target, dt float64) {
	if c.decides() {
		c.full = c.full || c.empty <= 0 && c.seen >= answers
	}
	if c.full {
		c.regulate(target, dt)
		return
	}
	c.drive = c.step.Drive
	c.deliver(dt)
}

// deliver turns the shaft: what leaves the pump fills the empty line, and the full one takes it up.
func (c *course) deliver(dt float64) {
	flow := c.turn(dt, c.drive, c.pressure)
	if c.empty > 0 {
		if c.empty -= flow; c.empty <= bubbles*c.line { // the front is there, and not flat
			c.empty, c.gas = 0, bubbles*c.line*(c.pressure+barometer)
		}
		c.pressure = math.Max(c.pressure, c.rig.CheckValve.Value) // the air goes out through the return
		c.tank -= flow * c.density
		return
	}
	c.flow(flow, dt)
}

// decides says whether who regulates looks at the pressure in this tick: the harness once a cycle.
func (c *course) decides() bool {
	every := c.rig.Cycle
	if c.rig.Kind == rig.Controller {
		every = ownCycle
	}
	return c.t%every < tick
}

// regulate keeps a pressure by proportional and integral action on the drive, as the engine does: once a cycle,
// by the last reading of the unit's sensor with its noise and the pulsation that it meets.
func (c *course) regulate(target, dt float64) {
	if c.decides() {
		c.command(target)
	}
	if c.step.Kind == scenario.Dose {
		flow, fraction := c.opens(c.pressure, c.step.Duty)
		c.dosing = flow * c.opened(fraction)
	}
	c.deliver(dt)
}

// command is one cycle of the pressure loop.
func (c *course) command(target float64) {
	loop, every := c.rig.Regulator, c.rig.Cycle
	if c.rig.Kind == rig.Controller {
		loop, every = ownLoop, ownCycle
	}
	if !c.running {
		c.integral, c.running = loop.FeedDrive*math.Sqrt(target/c.nominal), true
	}
	off := target - c.seen
	if c.rig.Kind == rig.Controller { // it has its sensor at hand, not what it reports of it
		off = target - c.pressure
	}
	want := c.integral + loop.Gain*off
	c.drive = math.Min(math.Max(want, 0), loop.MaxDrive)
	if want == c.drive {
		c.integral += loop.Gain * off * every.Seconds() / loop.Reset.Seconds()
	}
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

// stand is a line that is shut in: it leaks, and in a compliance step the dosing valve takes a volume out.
func (c *course) stand(dt float64) {
	taken := leak/60*c.pressure/c.nominal*dt - c.turn(dt, 0, c.pressure) // the shaft runs out against the shut return
	if s := c.step; s.Kind == scenario.Compliance && c.in >= s.Settle && c.in < s.Settle+s.Pulse {
		flow, fraction := c.opens(c.pressure, s.Duty)
		c.dosing = flow * c.opened(fraction)
		taken += c.dosing / c.density / 60 * dt
	}
	c.pressure = math.Max(0, c.pressure-taken/c.soft())
}

// suck is a line that is being emptied. Until the directional valve has moved the pump delivers; then the line's
// pressure falls through the pump's own two valves, by the orifice law, and what its stretched parts held goes back
// to the tank; then the pump draws the liquid out.
func (c *course) suck(dt float64) {
	c.drive = c.step.Drive
	if c.in < valveMoves {
		c.deliver(dt)
		return
	}
	drawn := c.turn(dt, c.drive, 0) * wayBack
	fall := math.Min(c.pressure, (c.orifice(pumpValves, c.pressure)/60*dt+drawn)/c.soft())
	c.pressure -= fall
	c.tank += fall * c.soft() * c.density
	if c.pressure <= 0 && c.empty < c.line-residual {
		c.empty += drawn
		c.tank += drawn * c.density
	}
}

// over says whether the step has come to its end. A step that waits is given up at its time-out.
func (c *course) over() bool {
	s := c.step
	switch s.Kind {
	case scenario.Prime, scenario.Pressurise, scenario.Repressurise, scenario.Relieve:
		if c.reached() {
			c.since += tick
		} else {
			c.since = 0
		}
		return c.since > s.Stays || c.in >= s.Timeout
	case scenario.Ask:
		return true // answered at once
	}
	return c.in >= s.Longest()
}

func (c *course) reached() bool {
	s := c.step
	switch s.Kind {
	case scenario.Relieve:
		return c.seen < math.Min(s.Pressure, samples.SafePressure)
	case scenario.Prime:
		return c.seen >= s.Pressure
	}
	return math.Abs(c.seen-s.Pressure) <= s.Band/100*s.Pressure
}
