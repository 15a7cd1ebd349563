package hydraulic

// Pulse drives the dosing valve: open for duty/frequency in each period, less the time lost
// at each opening. The zero value is shut.
type Pulse struct {
	phase float64 // s since the period began
	duty  float64 // 0..1
	open  bool    // was open at the end of the last step: nothing is lost at 100 %
}

// Set commands a duty of 0..1. From shut, a period begins at once; 0 shuts at once.
func (u *Pulse) Set(duty float64) {
	if duty <= 0 || u.duty <= 0 {
		u.phase, u.open = 0, false
	}
	u.duty = clamp(duty)
}

// Step moves on by dt and returns the share of dt for which the valve was open: the pulse's
// edges fall between steps, so the dosed volume does not depend on the step size.
func (u *Pulse) Step(dt, frequency, lost float64) float64 {
	if u.duty <= 0 {
		return 0
	}
	if u.open && u.duty >= 1 {
		return 1
	}
	period := 1 / frequency
	from, to := lost, u.duty*period
	open := overlap(u.phase, u.phase+dt, from, to)
	u.phase += dt
	if u.phase >= period {
		u.phase -= period
		u.open = u.duty >= 1
		if !u.open {
			open += overlap(0, u.phase, from, to)
		}
	}
	return open / dt
}

// overlap is the length that [a, b] and [from, to] have in common.
func overlap(a, b, from, to float64) float64 { return max(0, min(b, to)-max(a, from)) }
