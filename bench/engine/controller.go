package engine

import (
	"math"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// requests is what each kind of step asks of a unit that has its own J1939 controller: a state of SPN
// 4349, and the bench's own valves around it. The unit closes its pressure loop itself, so a step's
// drive has no meaning here.
var requests = [...]func(m *mover, now clock.Instant, s *state) rig.Outputs{
	scenario.Vent:         vent,
	scenario.Electrics:    ask(rig.StateDormant),
	scenario.Prime:        ask(rig.StatePriming),
	scenario.Pressurise:   ask(rig.StatePreparing),
	scenario.Hold:         ask(rig.StatePreparing),
	scenario.Compliance:   askCompliance,
	scenario.LeakDown:     askShutIn,
	scenario.Dose:         askDose,
	scenario.Purge:        ask(rig.StatePurging),
	scenario.Repressurise: ask(rig.StatePreparing),
	scenario.Relieve:      vent,
	scenario.Ask:          askWhileAsking,
}

// ask requests a state and no dosing.
func ask(wanted float64) func(*mover, clock.Instant, *state) rig.Outputs {
	return func(_ *mover, _ clock.Instant, s *state) rig.Outputs {
		out := s.base()
		out[rig.SetUnitState] = wanted
		return out
	}
}

// askShutIn shuts the return and asks the unit to stand still, in the same cycle.
func askShutIn(_ *mover, _ clock.Instant, s *state) rig.Outputs {
	out := s.base()
	out[rig.SetUnitState], out[rig.SetReturnShutoff] = rig.StateStanding, 1
	return out
}

// askCompliance is compliance: for the withdrawal the unit is asked for dosing with its pump at rest.
func askCompliance(m *mover, now clock.Instant, s *state) rig.Outputs {
	out := askShutIn(m, now, s)
	if t := now.Sub(m.began); t >= m.Settle && t < m.Settle+m.Pulse {
		out[rig.SetUnitState] = rig.StateService
		out[rig.SetDosingRequest] = request(s, m.Duty)
	}
	return out
}

func askDose(m *mover, _ clock.Instant, s *state) rig.Outputs {
	out := s.base()
	out[rig.SetUnitState] = rig.StateDosing
	out[rig.SetDosingRequest] = request(s, m.Duty)
	return out
}

// request is the dosing quantity (g/min) that a duty (%) stands for at nominal pressure, by the dosing
// valve's stated transfer.
func request(s *state, duty float64) float64 {
	v := s.rig.Dosing
	if v.AtPressure <= 0 {
		return 0
	}
	open := duty/100 - v.Lost.Seconds()*v.Frequency
	return v.FullFlow * math.Sqrt(s.nominal/v.AtPressure) * min(max(open, 0), 1)
}
