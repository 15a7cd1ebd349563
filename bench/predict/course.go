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
	step     scenario.Step
	t        time.Duration // since the start of the run
	in       time.Duration // since the start of the step
	pressure float64       // bar gauge, without ripple
	empty    float64       // mL missing in the line
	drive    float64       // %
	beaker   float64       // g
	tank     float64       // g
	dosing   float64       // g/min through the dosing valve now
	since    time.Duration // for how long what the step waits for has held
	integral float64       // % drive, of the pressure loop
	running  bool          // the pressure loop runs
	full     bool          // the step's line has been filled
	out      rig.Outputs
}

func newCourse(p *scenario.Plan, r *rig.Rig) *course {
	c := &course{circuit: circuitOf(r, p.Nominal), tank: 2000}
	c.empty = c.line + suction
	return c
}

// begin enters a step.
func (c *course) begin(s scenario.Step) { c.step, c.in, c.since, c.full = s, 0, 0, false }

// advance lets one tick pass.
func (c *course) advance() {
	dt := tick.Seconds()
	c.drive, c.dosing = 0, 0
	if !c.step.Pressurises() {
		c.running = false
	}
	switch s := c.step; s.Kind {
	case scenario.Prime:
		target := s.Pressure * 1.25
		if c.rig.Kind == rig.Controller {
			target = c.nominal
		}
		c.fill(s.Pressure, target, dt)
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
	c.t, c.in = c.t+tick, c.in+tick
	c.out = c.outputs()
}

// fill runs the pump at the step's drive until the line is full and answers, then regulates.
func (c *course) fill(answers, target, dt float64) {
	c.full = c.full || c.empty <= 0 && c.pressure >= answers
	if c.full {
		c.regulate(target, dt)
		return
	}
	c.drive = c.step.Drive
	flow := c.pumped(c.drive) / 60 * dt
	if c.empty > 0 {
		c.empty -= flow
		c.pressure = math.Max(c.pressure, c.rig.CheckValve.Value) // the air goes out through the return
		c.tank -= flow * c.density
		return
	}
	c.flow(flow, dt)
}

// regulate keeps a pressure by proportional and integral action on the drive, as the engine does; the shaft
// follows at once, and not what is answered to the ripple.
func (c *course) regulate(target, dt float64) {
	loop := c.rig.Regulator
	if c.rig.Kind == rig.Controller {
		loop = ownLoop
	}
	if !c.running {
		c.integral, c.running = loop.FeedDrive*math.Sqrt(target/c.nominal), true
	}
	off := target - c.pressure
	want := c.integral + loop.Gain*off
	c.drive = math.Min(math.Max(want, 0), loop.MaxDrive)
	if want == c.drive {
		c.integral += loop.Gain * off * dt / loop.Reset.Seconds()
	}
	if c.step.Kind == scenario.Dose {
		flow, fraction := c.opens(c.pressure, c.step.Duty)
		c.dosing = flow * c.opened(fraction)
	}
	c.flow(c.pumped(c.drive)/60*dt, dt)
}

// flow is the balance of the full line over one tick in which so much (mL) is pumped in.
func (c *course) flow(pumped, dt float64) {
	dosed := c.dosing / c.density / 60 * dt
	kept := pumped - (c.returns(c.pressure)/60*dt + dosed)
	c.tank -= (kept + dosed) * c.density
	c.pressure = math.Max(0, c.pressure+kept/compliance)
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
	taken := leak / 60 * c.pressure / c.nominal * dt
	if s := c.step; s.Kind == scenario.Compliance && c.in >= s.Settle && c.in < s.Settle+s.Pulse {
		flow, fraction := c.opens(c.pressure, s.Duty)
		c.dosing = flow * c.opened(fraction)
		taken += c.dosing / c.density / 60 * dt
	}
	c.pressure = math.Max(0, c.pressure-taken/compliance)
}

// suck is a line that is being emptied: what its stretched parts held goes back to the tank, too.
func (c *course) suck(dt float64) {
	c.drive = c.step.Drive
	fall := c.pressure * dt / empties
	c.pressure -= fall
	c.tank += fall * compliance * c.density
	if c.empty < c.line-residual {
		flow := c.pumped(c.drive) / 60 * dt / 2
		c.empty += flow
		c.tank += flow * c.density
	}
}

// read is the pressure with its ripple.
func (c *course) read() float64 {
	if c.drive <= 0 || c.empty > 0 || c.step.Kind == scenario.Purge {
		return c.pressure
	}
	return c.pressure + c.ripple*math.Sin(2*math.Pi*c.speed()/60*c.t.Seconds())
}

func (c *course) speed() float64 { return c.drive * perDrive }

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
		return c.pressure < math.Min(s.Pressure, samples.SafePressure)
	case scenario.Prime:
		return c.pressure >= s.Pressure
	}
	return math.Abs(c.pressure-s.Pressure) <= s.Band/100*s.Pressure
}
