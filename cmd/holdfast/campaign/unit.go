package campaign

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"holdfast/bench/cause"
	"holdfast/bench/grade"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/bench/session"
	"holdfast/cmd/holdfast/simbench"
	"holdfast/sim"
	"holdfast/sim/lie"
)

// Unit is one tested unit.
type Unit struct {
	Draw
	Verdict judge.Overall
	Good    bool   // what is really there keeps every limit
	Broken  string // the first limit that is really broken; "" of a good unit
	Trip    string // name of the interlock trip; "" for none
	Values  []Value
	Causes  []cause.Cause // most likely first
	Highest float64       // true pressure, bar gauge; of campaigns by world
	Said    string        // what was said of the bench: the trip, warnings and the first cause, in words
}

// Value is one characteristic as measured and as it is.
type Value struct {
	Name, At string
	Measured bool
	Value, U float64
	Truth    float64
	Known    bool // there is a true value
	Verdict  grade.Verdict
	Kept     bool // the true value keeps the limit, or there is none
	limit    *scenario.Limit
	Past     float64 // by how much the true value is past it; 0 when kept or not known
}

// Perform tests one unit in virtual time. The Result is what `holdfast run` with the same seed,
// faults, scenario and rig comes to; the plan's questions are answered by a simulated person.
func (c *Config) Perform(ctx context.Context, d Draw) (Unit, *judge.Result, error) {
	return c.perform(ctx, d, &chronicle{})
}

func (c *Config) perform(ctx context.Context, d Draw, ch *chronicle) (Unit, *judge.Result, error) {
	if c.Peer != "" {
		return c.performPeer(ctx, d)
	}
	ch.begin(simbench.Epoch)
	bench, err := simbench.New(c.Rig, sim.Options{Seed: d.Seed, Faults: d.Faults, Watch: ch.take,
		Spread: d.Spread, Room: d.Room, Tank: d.Tank, Repeat: d.Repeat})
	if err != nil {
		return Unit{}, nil, err
	}
	rec, err := c.record(ctx, bench, &d)
	if err != nil {
		return Unit{}, nil, fmt.Errorf("unit %d: %w", d.Number, err)
	}
	res := judge.Judge(c.identity(d), rec, c.Rig, c.Plan)
	t := &truths{chronicle: ch, bench: bench, sim: bench.Truth(), rec: rec, rig: c.Rig, plan: c.Plan, draw: d}
	if c.World == "" {
		t.perfect = t.perfectly()
	}
	u := t.compare(res)
	u.Highest = ch.highestEver()
	u.hear(rec, res)
	return u, res, nil
}

func (c *Config) identity(d Draw) samples.Identity {
	id := simbench.Identity(fmt.Sprintf("unit-%d", d.Number), fmt.Sprintf("CAMPAIGN-%d", d.Number), c.Plan, c.Rig,
		d.Seed, d.Faults)
	for i := range d.Lies {
		id.Lies = append(id.Lies, d.Lies[i].Text)
	}
	return id
}

// record runs the plan and returns what its journal says, as a real run is judged from its journal.
func (c *Config) record(ctx context.Context, bench *sim.Bench, d *Draw) (*samples.Recording, error) {
	bus := simbench.NewBus()
	d.attach(bus, bench)
	port := d.open(bus, d.Seed)
	if len(d.Lies) > 0 {
		port = lie.Port(port, lie.New(d.Lies, simbench.Epoch, d.Seed))
	}
	return session.InMemory(ctx, c.identity(*d), c.Plan, c.Rig, port, newEyes(bench, d.Seed))
}

// compare puts what was measured beside what is there.
func (t *truths) compare(res *judge.Result) Unit {
	u := Unit{Draw: t.draw, Verdict: res.Verdict, Causes: res.Causes, Good: true}
	if res.Recording.Trip != nil {
		u.Trip = res.Recording.Trip.Name
	}
	for i := range res.Lines {
		v := t.valueOf(&res.Lines[i])
		u.Values = append(u.Values, v)
		if !v.Kept && u.Good {
			u.Good, u.Broken = false, v.label()
		}
	}
	if s := t.neverCame(); s != "" && u.Good {
		u.Good, u.Broken = false, s
	}
	return u
}

func (t *truths) valueOf(l *judge.Line) Value {
	v := valueOf(l)
	v.Truth, v.Known = t.value(&l.Characteristic)
	switch {
	case l.Limit == nil:
	case v.Known:
		v.Past = past(v.Truth, l.Limit)
		v.Kept = v.Past <= 0
	case l.State == measure.AtLeast:
		v.Kept = past(l.Value, l.Limit) <= 0
	}
	return v
}

// hear keeps what was said of the bench.
func (u *Unit) hear(rec *samples.Recording, res *judge.Result) {
	said := slices.Clone(res.Warnings)
	if rec.Trip != nil {
		said = append(said, rec.Trip.Name, rec.Trip.Reading, rec.Trip.Next)
	}
	if len(res.Causes) > 0 {
		first := &res.Causes[0]
		said = append(said, first.Name, first.Title, first.Evidence)
	}
	u.Said = strings.Join(said, "\n")
}

// past is by how much a value is past its limit; 0 when it keeps it.
func past(v float64, l *scenario.Limit) float64 {
	by := 0.0
	if l.Lower != nil {
		by = max(by, *l.Lower-v)
	}
	if l.Upper != nil {
		by = max(by, v-*l.Upper)
	}
	return by
}

func (v *Value) label() string {
	if v.At == "" {
		return v.Name
	}
	return v.Name + " at " + v.At
}

// neverCame names a step of the plan that waited in vain, or a trip of the interlock: no good unit
// does that.
func (t *truths) neverCame() string {
	if t.rec.Trip != nil {
		return t.rec.Trip.Name
	}
	for _, s := range t.rec.Steps {
		if s.Outcome == samples.TimedOut {
			return s.Name + " in vain"
		}
	}
	return ""
}
