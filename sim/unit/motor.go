package unit

import "math"

// PerMinute is r/min per rad/s.
const PerMinute = 60 / (2 * math.Pi)

// Motor is the permanent-magnet motor on its eccentric. One turn is one delivery stroke
// (first half turn) and one suction stroke.
type Motor struct {
	Resistance float64 // winding at 20 °C, ohm; 5.2
	Constant   float64 // V s/rad = N m/A; 0.055
	Friction   float64 // N m, dry
	Drag       float64 // N m s/rad
	Inertia    float64 // kg m2

	Speed   float64 // rad/s, never negative: the pump turns one way only
	Current float64 // A
	angle   float64 // rad, 0..2 pi
	cosine  float64 // of angle
}

// Step turns the shaft for dt seconds at a mean motor voltage against a pressure difference
// over the pump (Pa, negative counts as none) and a filter behind it (Pa s/m3), and returns the shares
// of a stroke that the membrane pushed out and drew in. They are differences of positions:
// exact whatever dt.
func (m *Motor) Step(dt, voltage, difference, filter, stroke float64) (out, drawn float64) {
	if m.Speed <= 0 && voltage <= 0 {
		m.Current = 0
		return 0, 0
	}
	load, drag := m.Friction, m.Drag
	if m.angle < math.Pi {
		lever := stroke / 2 * math.Sqrt(max(0, 1-m.cosine*m.cosine))
		load += max(0, difference) * lever
		drag += filter * lever * lever // the flow is lever times speed, the torque lever times the drop
	}
	m.accelerate(dt, voltage, load, drag)
	if m.Speed <= 0 {
		return 0, 0
	}
	return m.turn(m.Speed * dt)
}

// accelerate integrates J dw/dt = k i - load - drag w with i = (u - k w)/R by the trapezoidal
// rule. The half-bridge driver holds its mean voltage both ways: a motor that is switched off
// is shorted and brakes. The instrument shows no braking current.
func (m *Motor) accelerate(dt, voltage, load, drag float64) {
	inertia := m.Inertia / dt
	conductance := m.Constant / m.Resistance
	damping := drag + m.Constant*conductance
	next := (m.Speed*(inertia-damping/2) + conductance*voltage - load) / (inertia + damping/2)
	if next < 0 {
		next = 0
	}
	m.Current = max(0, (voltage-m.Constant*(m.Speed+next)/2)/m.Resistance)
	m.Speed = next
}

// turn moves the shaft by a (rad, less than half a turn) and returns the shares of a stroke
// pushed out and drawn in.
func (m *Motor) turn(a float64) (out, drawn float64) {
	before := m.angle
	m.angle += a
	if before < math.Pi {
		end := min(m.angle, math.Pi)
		c := math.Cos(end)
		out = (m.cosine - c) / 2
		m.cosine = c
	}
	if m.angle > math.Pi {
		c := 1.0
		if m.angle < 2*math.Pi {
			c = math.Cos(m.angle)
		}
		drawn = (c - m.cosine) / 2
		m.cosine = c
	}
	if m.angle >= 2*math.Pi {
		m.angle -= 2 * math.Pi
		m.cosine = math.Cos(m.angle)
		out += (1 - m.cosine) / 2
	}
	return out, drawn
}
