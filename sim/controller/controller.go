package controller

import (
	"math"
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/clock"
)

// Tick is how often it works: control and messages.
const Tick = 10 * time.Millisecond

// What this unit was built with, and what it does with it. Our own invention.
const (
	nominal     = 900.0 // kPa gauge
	primed      = 350.0 // kPa gauge: held while priming
	filled      = 300.0 // kPa gauge: the line answers
	primeDrive  = 0.60
	purgeDuty   = 0.50
	feedDrive   = 0.30  // where the integral starts
	gain        = 6e-4  // drive per kPa
	reset       = 2.0   // s
	doserFlow   = 106.0 // g/min at nominal, fully open
	doserPeriod = 0.25  // s
	doserLost   = 1.5e-3
	purgeTime   = 60.0        // s, in state 7
	requestAge  = time.Second // after which a request no longer counts
	patience    = 60.0        // s in which pressure must have come
	frozenBelow = -10.5       // degC: it thaws before it pumps
)

// Senses is what the controller's own electronics see.
type Senses struct {
	Pressure   float64 // kPa absolute, of the unit's own sensor
	PressureOK bool
	Speed      float64 // r/min
	Coil       float64 // A, of the directional valve
	Fluid      float64 // degC
	Tank       float64 // degC
	TankShare  float64 // 0..1
	Powered    bool
}

// Outputs is what it does to pump and valves.
type Outputs struct {
	Drive  float64 // 0..1
	Duty   float64 // 0..1
	Valve  bool
	Heater bool
}

// Controller is one controller. The zero value is without power.
type Controller struct {
	Serial uint32 // 21 bits, its identity number

	senses  Senses
	out     Outputs
	state   State
	request State
	want    float64 // g/min asked for
	heard   clock.Instant
	asked   bool // a request has been heard since power-up

	ticks     int64   // since power-up
	vented    float64 // kPa: the reading at power-up, taken for the atmosphere
	integral  float64 // drive
	running   bool    // the pressure loop
	full      bool    // the line has answered
	building  float64 // s for which pressure has been wanted and not there
	purged    float64 // s
	dosed     float64 // g/min by its own model
	dosedSum  float64 // g
	faults    faults
	transfers []einride.Frame // of a long message, one every fifth tick
	answers   []einride.Frame // to requests, sent at the next tick
}

// Outputs returns what it does now.
func (c *Controller) Outputs() Outputs { return c.out }

// State returns the state that it reports.
func (c *Controller) State() State { return c.state }

// Control works one tick: takes in what it senses and decides what it does.
func (c *Controller) Control(now clock.Instant, s Senses) {
	if !s.Powered {
		*c = Controller{Serial: c.Serial, transfers: c.transfers[:0], answers: c.answers[:0]}
		return
	}
	c.senses = s
	if c.ticks == 0 {
		c.vented = 101.3
		if s.PressureOK && s.Pressure > 80 && s.Pressure < 110 {
			c.vented = s.Pressure
		}
	}
	c.ticks++
	if c.asked && now.Sub(c.heard) > requestAge {
		c.request, c.want, c.asked = Dormant, 0, false
	}
	c.act()
	c.watch()
	c.dosedSum = math.Mod(c.dosedSum+c.dosed*Tick.Seconds()/60, 6425.5)
}

// act sets outputs and state for what is requested.
func (c *Controller) act() {
	last := c.out
	c.out, c.dosed = Outputs{}, 0
	switch {
	case c.wantsPressure() && c.senses.Fluid <= frozenBelow:
		c.state = Frozen
		c.out.Heater = true
	default:
		c.follows()
	}
	if c.request != Purging && c.request != Shutoff {
		c.purged = 0
	}
	if last.Drive > 0 && c.out.Drive == 0 || c.out.Valve {
		c.running, c.full = false, false
	}
}

func (c *Controller) wantsPressure() bool {
	return c.request == Preparing || c.request == Dosing || c.request == Priming
}

// follows does what is requested.
func (c *Controller) follows() {
	switch c.request {
	case Preparing:
		c.state = Preparing
		c.press(nominal)
	case Dosing:
		c.state = Preparing
		if c.press(nominal) {
			c.state = Dosing
			c.dose()
		}
	case Priming:
		c.state = Priming
		c.press(primed)
	case Purging, Shutoff:
		c.purge()
	case Service:
		c.state = Service
		c.dose()
	case Standing:
		c.state = Standing
	default:
		c.state = Dormant
	}
}

func (c *Controller) gauge() float64 { return c.senses.Pressure - c.vented }

// press fills the line and keeps a pressure (kPa gauge); it says whether it is there.
func (c *Controller) press(target float64) bool {
	if !c.senses.PressureOK {
		return false // without its sensor the pump stands
	}
	p := c.gauge()
	c.full = c.full || p >= filled
	if !c.full {
		c.out.Drive = primeDrive
		return false
	}
	if !c.running {
		c.running, c.integral = true, feedDrive*math.Sqrt(target/nominal)
	}
	want := c.integral + gain*(target-p)
	c.out.Drive = min(max(want, 0.01), 1)
	if want == c.out.Drive {
		c.integral += gain * (target - p) * Tick.Seconds() / reset
	}
	return p > 0.9*target
}

// dose opens the valve for what is asked, by the flow that this kind of valve has at the pressure that
// the sensor shows.
func (c *Controller) dose() {
	if c.want <= 0 || !c.senses.PressureOK || c.gauge() <= 0 {
		return
	}
	full := doserFlow * math.Sqrt(c.gauge()/nominal)
	c.out.Duty = min(c.want/full+doserLost/doserPeriod, 1)
	c.dosed = full * max(0, c.out.Duty-doserLost/doserPeriod)
}

func (c *Controller) purge() {
	c.purged += Tick.Seconds()
	if c.request == Shutoff && c.purged > purgeTime {
		c.state = PowerDown
		return
	}
	c.state = c.request
	c.out = Outputs{Drive: primeDrive, Duty: purgeDuty, Valve: true}
}
