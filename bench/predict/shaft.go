package predict

import "math"

// The expected pump's motor: the reference unit of the shipped limits, whose 1 500 r/min at 45 % drive and 9 bar
// give its friction. Common practice, no source.
const (
	winding      = 5.2    // ohm
	motorVolts   = 0.055  // V s/rad, and N m/A
	friction     = 0.0057 // N m: what 45 % of 24 V leave at 1 500 r/min beside the pressure's torque
	shaftSeconds = 0.1    // time constant of the free shaft against its own voltage
	shaftShown   = 0.05   // s: a tachometer and a current reading average over about a turn
)

// runsOut is the part of its speed that a free shaft keeps over a tick.
var runsOut = math.Exp(-tick.Seconds() / shaftSeconds)

// shaft is motor, eccentric and diaphragm: one turn is one stroke out and one stroke in, so that delivery comes
// in half sines and the pressure's torque with it.
type shaft struct {
	stroke float64 // mL
	speed  float64 // rad/s, never negative
	angle  float64 // rad, 0..2 pi; the membrane pushes in the first half
	shown  float64 // rad/s, as a tachometer shows it
	amps   float64 // A, as an ammeter shows it
}

// turn lets dt seconds, one tick, pass at a drive (%) against a pressure (bar gauge) and returns what leaves the pump, mL.
func (s *shaft) turn(dt, drive, pressure float64) float64 {
	if drive == 0 && s.speed == 0 { // it stands, and only what is shown of it still moves
		s.shown -= s.shown * dt / shaftShown
		s.amps -= s.amps * dt / shaftShown
		return 0
	}
	load := friction
	if s.angle < math.Pi {
		load += math.Max(0, pressure) * 1e5 * s.stroke * 1e-6 / 2 * math.Sin(s.angle)
	}
	// J dw/dt = k (u - k w)/R - load, by its closed form over the step: J R/k2 is shaftSeconds.
	rest := drive/100*supply/motorVolts - load*winding/(motorVolts*motorVolts)
	before := s.speed
	s.speed = math.Max(0, rest+(before-rest)*runsOut)
	amps := 0.0
	if drive > 0 {
		amps = math.Max(0, (drive/100*supply-motorVolts*(before+s.speed)/2)/winding)
	}
	s.shown += (s.speed - s.shown) * dt / shaftShown
	s.amps += (amps - s.amps) * dt / shaftShown
	from := s.angle
	to := from + (before+s.speed)/2*dt
	s.angle = math.Mod(to, 2*math.Pi)
	return (pushed(to) - pushed(from)) * s.stroke * efficiency
}

// pushed is how many strokes the membrane has pushed out up to an angle from 0 on.
func pushed(angle float64) float64 {
	turns := math.Floor(angle / (2 * math.Pi))
	return turns + (1-math.Cos(math.Min(angle-turns*2*math.Pi, math.Pi)))/2
}
