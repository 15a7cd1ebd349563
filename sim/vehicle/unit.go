package vehicle

import (
	"math"
	"math/rand/v2"
	"time"
)

// States of SPN 4332 that the unit goes through.
const (
	dormant    = 0
	preparing  = 1
	dosing     = 2
	purging    = 4
	defreezing = 6
	shutoff    = 7
	powerDown  = 11
	priming    = 12
)

// The invented reference unit (bench/README of the project's bench: 0.12 mL, 1500 r/min at 45 % and 24 V,
// 160 mL/min at 9 bar through the return, 78 mL to fill, 0.4 mL/bar).
const (
	tick           = 50 * time.Millisecond
	strokeVolume   = 0.12 // mL
	turnsAtFull    = 55.6 // r/s at 100 % and 24 V
	efficiency     = 0.9
	returnFlow     = 0.915 // mL/s at 1 bar above the check valve
	checkValve     = 0.3   // bar
	fillVolume     = 78.0  // mL
	compliance     = 0.4   // mL/bar
	nominal        = 9.0   // bar
	density        = 1.09  // g/mL
	purgeOverrun   = 18 * time.Second
	pumpLimit      = 10.5 // bar: the relief opens
	filterDrop     = 6.0  // bar at 1 mL/s dosed through a filter blocked altogether
	retryAfter     = 20 * time.Second
	primeGivenUp   = 60 * time.Second
	dosingFrom     = 200.0 // °C at the catalyst
	wakeAfterStart = 15 * time.Second
	drivePerFlow   = 14.0 // % for each mL/s: what the pump needs for what is dosed, given before the pressure falls
	// A slow wandering of the delivery, 0.8 % (standard deviation) over ten minutes.
	driftStep = 0.008 * 0.0129 // sqrt(2 * 0.05 s / 600 s)
)

// unit is the supply unit with its controller.
type unit struct {
	fault func(string) float64

	state    int
	since    time.Duration // in the state
	steady   time.Duration // at nominal pressure while priming
	pressure float64       // bar gauge at the pump
	line     float64       // mL in the line
	drive    float64       // %
	speed    float64       // r/min
	valve    bool
	integral float64
	leak     float64 // mL/min at 9 bar now

	requested, actual float64 // g/h
	grams             float64 // SPN 4333
	volts             float64
	attempts          int
	emptied           bool
	drift             float64 // of the delivery: temperatures of motor and fluid
}

// behindFilter is the pressure in the line, bar gauge.
func (u *unit) behindFilter() float64 {
	return max(0, u.pressure-u.fault(FilterBlocked)*filterDrop*u.doseFlow())
}

// sensed is what the unit's own sensor says and the unit regulates by, bar gauge.
func (u *unit) sensed() float64 { return u.behindFilter() + u.fault(SensorOffset) }

func (u *unit) doseFlow() float64 { return u.actual / density / 3600 }

// step moves the unit by one tick. engine says that it runs, key that it is on; demand is in g/h.
func (u *unit) step(r *rand.Rand, key, engine bool, demand, catalyst float64) {
	u.since += tick
	u.sequence(key, engine, catalyst)
	u.requested, u.actual = 0, 0
	if u.state == dosing && catalyst > dosingFrom {
		u.requested = demand
		u.actual = demand * (1 - u.fault(DoserBlocked)) * math.Sqrt(u.behindFilter()/nominal)
	}
	u.grams = math.Mod(u.grams+u.actual*tick.Hours(), 6425.5)
	u.command(r)
	u.hydraulics(r)
}

func (u *unit) enter(state int) { u.state, u.since = state, 0 }

// sequence is the controller's order of states.
func (u *unit) sequence(key, engine bool, catalyst float64) {
	if !key && u.state != purging && u.state != powerDown && u.state != shutoff {
		u.enter(shutoff)
	}
	switch u.state {
	case dormant:
		if engine && u.since > wakeAfterStart {
			u.enter(preparing)
			if u.fault(Frozen) > 0 {
				u.enter(defreezing)
			}
		}
	case preparing:
		if u.since > 8*time.Second {
			u.enter(priming)
			u.attempts++
		}
	case priming:
		u.steady += tick
		if math.Abs(u.sensed()-nominal) > 0.4 {
			u.steady = 0
		}
		if u.steady > 3*time.Second {
			u.enter(dosing)
		} else if u.since > primeGivenUp {
			u.enter(preparing)
			u.since = 8*time.Second - retryAfter
		}
	case shutoff:
		if u.since > 3*time.Second {
			u.enter(purging)
		}
	case purging:
		if u.line <= 0 && u.since > purgeOverrun+22*time.Second {
			u.emptied = true
			u.enter(powerDown)
		}
	}
}

// command sets the pump and the valve.
func (u *unit) command(r *rand.Rand) {
	u.valve = u.state == purging
	switch u.state {
	case priming, dosing:
		if u.line < fillVolume {
			u.drive, u.integral = 70, 0
			return
		}
		off := nominal - u.sensed() + r.NormFloat64()*0.01
		u.integral = min(max(u.integral+min(2*off, 2)*tick.Seconds(), -45), 50) // slowly, or it winds up
		u.drive = min(max(45+drivePerFlow*u.doseFlow()+6*off+u.integral, 0), 95)
	case purging:
		u.drive = 60
	default:
		u.drive, u.integral = 0, 0
	}
}

func (u *unit) hydraulics(r *rand.Rand) {
	turns := u.drive / 100 * turnsAtFull * u.volts / 24
	u.speed = turns * 60
	u.drift += -u.drift*tick.Seconds()/600 + driftStep*r.NormFloat64()
	share := efficiency * (1 - u.fault(PumpWorn)) * (1 + u.drift)
	if air := u.fault(SuctionAir); air > 0 {
		share *= 1 - 0.6*air + 0.1*air*r.NormFloat64()
		if air >= 0.7 && u.attempts%3 != 0 {
			share = min(share, 0.05)
		}
	}
	pump := max(0, share) * strokeVolume * turns
	dt := tick.Seconds()
	if u.valve {
		u.line = max(0, u.line-pump*dt)
		u.pressure = max(0, u.pressure-4*u.pressure*dt)
		return
	}
	if u.line < fillVolume {
		u.line += pump * dt
		u.pressure = max(0, u.pressure-u.pressure*dt)
		return
	}
	back := returnFlow * math.Sqrt(max(0, u.pressure-checkValve))
	out := back + u.doseFlow() + u.leak/60*u.pressure/nominal
	u.pressure = min(max(0, u.pressure+(pump-out)*dt/compliance), pumpLimit)
}
