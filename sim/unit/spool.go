package unit

// Spool is the directional valve: released it connects tank to line, energised line to tank.
type Spool struct {
	Delay  float64 // s from coil current to movement
	Travel float64 // s from stop to stop
	Free   float64 // 0..1: share of the pump's displacement that reaches the line when energised
	Hold   float64 // 0..1: how much of the forward way stays open when energised; 0 is whole
	Rest   float64 // 0..1: how much of the way back stays open when released; 0 is whole
	PullIn float64 // A: below it the coil does not move it
	wait   float64 // s left before it moves
	target float64
	at     float64 // 0 released, 1 energised
}

// Step moves the spool for dt at a coil current (A) and returns how far the two ways are open.
func (s *Spool) Step(dt, current float64) (forward, reverse float64) {
	target := 0.0
	if current > s.PullIn {
		target = 1
	}
	if target != s.target {
		s.target, s.wait = target, s.Delay
	}
	switch {
	case s.wait > 0:
		s.wait -= dt
	case s.at < target:
		s.at = min(s.at+dt/s.Travel, 1)
	case s.at > target:
		s.at = max(s.at-dt/s.Travel, 0)
	}
	at := s.Rest + (1-s.Rest)*s.at
	return 1 - at*(1-s.Hold), at * s.Free
}
