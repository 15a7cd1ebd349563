package engine

import (
	"fmt"
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// mover is one step in motion: polled each cycle, never blocking.
type mover struct {
	scenario.Step
	began  clock.Instant
	since  clock.Instant // since when the condition has held without a break; 0: it does not
	filled bool          // the line has reached its first pressure (prime, repressurise)
	set    func(m *mover, now clock.Instant, s *state) rig.Outputs
}

func newMover(step scenario.Step, s *state) *mover {
	m := &mover{Step: step, set: movers[step.Kind]}
	if s.rig.Kind == rig.Controller {
		m.set = requests[step.Kind]
	}
	if !regulates(step) {
		s.reg.stop()
	}
	return m
}

// fillPressure (bar gauge) is where a line counts as full and the regulator takes over: below
// it only air and the return restriction are pushed. Common practice, no source.
const fillPressure = 2.0

var movers = [...]func(m *mover, now clock.Instant, s *state) rig.Outputs{
	scenario.Vent:         vent,
	scenario.Electrics:    electrics,
	scenario.Prime:        prime,
	scenario.Pressurise:   regulate,
	scenario.Hold:         regulate,
	scenario.Compliance:   compliance,
	scenario.LeakDown:     shutIn,
	scenario.Dose:         regulate,
	scenario.Purge:        purge,
	scenario.Repressurise: repressurise,
	scenario.Relieve:      vent,
	scenario.Ask:          asking,
}

func regulates(s scenario.Step) bool {
	k := s.Kind
	return k == scenario.Pressurise || k == scenario.Hold || k == scenario.Dose || k == scenario.Ask && s.Pressurises()
}

// outputs is called once a cycle.
func (m *mover) outputs(now clock.Instant, s *state) rig.Outputs {
	if m.began == 0 {
		m.began = now
	}
	return m.set(m, now, s)
}

func vent(_ *mover, _ clock.Instant, s *state) rig.Outputs {
	out := s.base()
	out[rig.SetVent] = 1
	return out
}

func electrics(_ *mover, _ clock.Instant, s *state) rig.Outputs {
	out := s.base()
	out[rig.SetHeater], out[rig.SetReturnValve] = 1, 1
	return out
}

// prime drives the pump until the line answers, then keeps it a quarter above the wanted
// pressure, so that "reached and stays" is not a matter of ripple.
func prime(m *mover, now clock.Instant, s *state) rig.Outputs {
	return fillThenHold(m, now, s, m.Pressure, 1.25*m.Pressure)
}

func repressurise(m *mover, now clock.Instant, s *state) rig.Outputs {
	return fillThenHold(m, now, s, fillPressure, m.Pressure)
}

func fillThenHold(m *mover, now clock.Instant, s *state, full, target float64) rig.Outputs {
	out := s.base()
	p, ok := s.line(now)
	m.filled = m.filled || (ok && p >= full)
	switch {
	case !m.filled:
		out[rig.SetPumpDrive] = m.Drive
	case ok:
		out[rig.SetPumpDrive] = s.reg.drive(target, p, s.rig.Cycle.Seconds())
	}
	return out
}

// regulate holds the pressure, dosing when the step says so. Without a fresh reading the pump
// stops: the interlock ends the step if that lasts.
func regulate(m *mover, now clock.Instant, s *state) rig.Outputs {
	out := s.base()
	out[rig.SetDosingDuty] = m.Duty
	if p, ok := s.line(now); ok {
		out[rig.SetPumpDrive] = s.reg.drive(m.Pressure, p, s.rig.Cycle.Seconds())
	}
	return out
}

// shutIn shuts the return and stops the pump in the same command, so that neither pushes
// against the other.
func shutIn(_ *mover, _ clock.Instant, s *state) rig.Outputs {
	out := s.base()
	out[rig.SetReturnShutoff] = 1
	return out
}

// compliance waits with the line shut in, takes a metered volume, and waits again: the slopes
// before and after the pulse separate the leak from the withdrawal.
func compliance(m *mover, now clock.Instant, s *state) rig.Outputs {
	out := shutIn(m, now, s)
	if t := now.Sub(m.began); t >= m.Settle && t < m.Settle+m.Pulse {
		out[rig.SetDosingDuty] = m.Duty
	}
	return out
}

// purge sucks the line empty: the pump runs its one way, the energised return valve reverses
// the flow, the pulsed dosing valve lets air in behind it.
func purge(m *mover, _ clock.Instant, s *state) rig.Outputs {
	out := s.base()
	out[rig.SetReturnValve], out[rig.SetPumpDrive], out[rig.SetDosingDuty] = 1, m.Drive, m.Duty
	return out
}

// outcome says whether the step has come to its end at now.
func (m *mover) outcome(began, now clock.Instant, s *state) (samples.Outcome, string) {
	t := now.Sub(began)
	if m.waits() {
		return m.awaited(t, now, s)
	}
	length := m.Duration
	if m.Kind == scenario.Compliance {
		length = 2*m.Settle + m.Pulse
	}
	if t < length {
		return samples.NotRun, ""
	}
	return samples.Done, ""
}

// waits says whether a step ends when something comes about rather than when its time is over.
func (m *mover) waits() bool {
	switch m.Kind {
	case scenario.Prime, scenario.Pressurise, scenario.Repressurise, scenario.Relieve:
		return true
	}
	return false
}

func (m *mover) awaited(t time.Duration, now clock.Instant, s *state) (samples.Outcome, string) {
	switch {
	case !m.reached(now, s):
		m.since = 0
	case m.since == 0:
		m.since = now
	}
	if m.since != 0 && now.Sub(m.since) >= m.Stays {
		return samples.Done, ""
	}
	if t >= m.Timeout {
		return samples.TimedOut, fmt.Sprintf("%s did not come about within %.4g s", m.wanted(), m.Timeout.Seconds())
	}
	return samples.NotRun, ""
}

// reached says whether what the step waits for is the case now.
func (m *mover) reached(now clock.Instant, s *state) bool {
	if m.Kind == scenario.Relieve {
		p, ok := s.pressure(now)
		return ok && p < m.Pressure
	}
	p, ok := s.line(now)
	if m.Kind == scenario.Prime {
		return ok && p >= m.Pressure
	}
	band := m.Band / 100 * m.Pressure
	return ok && p >= m.Pressure-band && p <= m.Pressure+band
}

func (m *mover) wanted() string {
	switch m.Kind {
	case scenario.Prime:
		return fmt.Sprintf("%.4g bar for %.4g s", m.Pressure, m.Stays.Seconds())
	case scenario.Relieve:
		return fmt.Sprintf("a pressure below %.4g bar", m.Pressure)
	}
	return fmt.Sprintf("%.4g bar within %.4g %% for %.4g s", m.Pressure, m.Band, m.Stays.Seconds())
}

// reliedOn names the channels that a step cannot do without. The reference gauge is
// always one of them where the bench has it: it is what the over-pressure trip looks at when
// the unit's own sensor lies.
func reliedOn(s scenario.Step, r *rig.Rig) []rig.Channel {
	k := s.Kind
	channels := []rig.Channel{rig.EmergencyStop, rig.ReferencePressure}
	switch k {
	case scenario.Prime, scenario.Pressurise, scenario.Hold, scenario.Dose, scenario.Repressurise:
		channels = append(channels, rig.LinePressure)
	}
	if k == scenario.Ask && s.Pressurises() {
		channels = append(channels, rig.LinePressure)
	}
	if k == scenario.Dose || k == scenario.Compliance {
		channels = append(channels, rig.ScaleMass)
	}
	return onlyGauge(k, r, channels)
}
