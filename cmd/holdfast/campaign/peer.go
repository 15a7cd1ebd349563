package campaign

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"

	"holdfast/bench/judge"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/bench/session"
	"holdfast/cmd/holdfast/simbench"
	"holdfast/j1939/can"
	"holdfast/j1939/can/lockstep"
	"holdfast/j1939/clock"
	"holdfast/sim/lie"
)

// performPeer tests one unit in the other world: a simulation in lock-step, which says at the end what was there.
func (c *Config) performPeer(ctx context.Context, d Draw) (u Unit, res *judge.Result, err error) {
	port, err := lockstep.Dial(c.Peer, simbench.Epoch, c.asked(&d))
	if err != nil {
		return Unit{}, nil, fmt.Errorf("unit %d: %w", d.Number, err)
	}
	defer func() { err = errors.Join(err, port.Close()) }()
	heard := can.Port(keptOpen{port})
	if len(d.Lies) > 0 {
		heard = lie.Port(heard, lie.New(d.Lies, simbench.Epoch, d.Seed))
	}
	id := c.identity(d)
	id.Bus = lockstep.Prefix + c.Peer
	rec, err := session.InMemory(ctx, id, c.Plan, c.Rig, heard, nil)
	if err != nil {
		return Unit{}, nil, fmt.Errorf("unit %d: %w", d.Number, err)
	}
	res = judge.Judge(id, rec, c.Rig, c.Plan)
	asked, err := json.Marshal(storyOf(rec, res, c.Plan, c.Rig))
	if err != nil {
		return Unit{}, nil, err
	}
	text, err := port.Finish(asked)
	if err != nil {
		return Unit{}, nil, fmt.Errorf("unit %d: %w", d.Number, err)
	}
	told, err := parseTruth(text)
	if err != nil {
		return Unit{}, nil, fmt.Errorf("unit %d: what was really there: %w", d.Number, err)
	}
	return told.compare(d, rec, res), res, nil
}

// keptOpen is a port that outlives the run: the truth is asked for after it.
type keptOpen struct{ can.Port }

func (keptOpen) Close() error { return nil }

// asked is the unit and the bench of a draw. Room and tank are absolute there.
func (c *Config) asked(d *Draw) *lockstep.Setup {
	s := &lockstep.Setup{Seed: &d.Seed, Faults: d.Faults, Unit: "bare", Set: maps.Clone(c.Set)}
	if c.Rig.Kind == rig.Controller {
		s.Unit = "controller"
	}
	set := func(key, value string) {
		if s.Set == nil {
			s.Set = map[string]string{}
		}
		s.Set[key] = value
	}
	const usualRoom = 22.0 // °C, as in sim
	if c.Room > 0 || c.Tank > 0 {
		set("room", fmt.Sprintf("%.2f", usualRoom+d.Room))
		set("tank", fmt.Sprintf("%.2f", usualRoom+d.Room+d.Tank))
	}
	if d.Repeat > 0 {
		set("repeat", fmt.Sprint(d.Repeat))
	}
	return s
}

// story is what a world is told of a run so that it can say what was true of it.
type story struct {
	Nominal float64     `json:"nominal_bar"`
	Steps   []storyStep `json:"steps"`
	Wanted  []wanted    `json:"wanted"`
}

type storyStep struct {
	Name     string        `json:"name"`
	Kind     string        `json:"kind"`
	Start    clock.Instant `json:"start_ns"`
	End      clock.Instant `json:"end_ns"`
	Outcome  string        `json:"outcome"`
	Pressure float64       `json:"pressure_bar"`
	Band     float64       `json:"band_percent"`
	Drive    float64       `json:"drive_percent"`
	Duty     float64       `json:"duty_percent"`
	Settle   float64       `json:"settle_s"`
	Stays    float64       `json:"stays_s"`
	Pulse    float64       `json:"pulse_s"`
	Duration float64       `json:"duration_s"`
}

var outcomeWords = map[samples.Outcome]string{samples.NotRun: "not run", samples.Done: "done",
	samples.TimedOut: "timed out", samples.CutShort: "cut short"}

// wanted is a characteristic whose true value is asked for, over the stretch it was measured over.
type wanted struct {
	Name  string        `json:"name"`
	At    string        `json:"at"`
	Unit  string        `json:"unit"`
	From  clock.Instant `json:"from_ns"`
	To    clock.Instant `json:"to_ns"`
	Asked float64       `json:"asked_g_per_min,omitempty"` // dosing_error: what the duty stands for at nominal pressure
}

func storyOf(rec *samples.Recording, res *judge.Result, plan *scenario.Plan, r *rig.Rig) story {
	s := story{Nominal: plan.Nominal, Steps: []storyStep{}, Wanted: []wanted{}}
	for _, done := range rec.Steps {
		if done.Index >= len(plan.Steps) {
			continue
		}
		p := &plan.Steps[done.Index]
		s.Steps = append(s.Steps, storyStep{Name: done.Name, Kind: done.Kind.String(), Start: done.Start, End: done.End,
			Outcome: outcomeWords[done.Outcome], Pressure: p.Pressure, Band: p.Band, Drive: p.Drive, Duty: p.Duty,
			Settle: p.Settle.Seconds(), Stays: p.Stays.Seconds(), Pulse: p.Pulse.Seconds(), Duration: p.Duration.Seconds()})
	}
	for i := range res.Lines {
		l := &res.Lines[i]
		w := wanted{Name: l.Name, At: l.At, Unit: l.Unit, From: l.From, To: l.To}
		if l.Name == "dosing_error" {
			w.Asked = askedAt(plan, r, l.At)
		}
		s.Wanted = append(s.Wanted, w)
	}
	return s
}

// askedAt is what the duty of a dose step stands for at nominal pressure by the rig's statement of its valve, g/min.
func askedAt(plan *scenario.Plan, r *rig.Rig, at string) float64 {
	for _, s := range plan.Steps {
		if s.Kind == scenario.Dose && scenario.SetPoint(s.Duty) == at {
			return nominalDose(r.Dosing, plan.Nominal, s.Duty)
		}
	}
	return 0
}
