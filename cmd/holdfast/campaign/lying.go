package campaign

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"time"

	"holdfast/bench/cause"
	"holdfast/bench/judge"
	"holdfast/cmd/holdfast/lies"
	"holdfast/j1939/unit"
	"holdfast/sim/lie"
)

// What is drawn of a lie: nearly every kind that a person can meet at a bench, of any channel that measures.
var (
	// drawnKinds may be drawn; noise, floors and lost messages are bus and wiring, drawn as bench problems.
	drawnKinds = []string{"offset", "gain", "nonlinear", "hysteresis", "drift", "stuck", "reversed", "swapped", "quantised",
		"lagging", "frozen", "late", "missing", "error", "clipped"}
	drawnDisobediences = []string{"pump-not-off", "valve-stuck", "shutoff-not-seen", "dosing-ignored"}
)

// longest is by when a lie that is not there from the start has begun.
const longest = 240 * time.Second

// lieDraws draws a lie as a person would type it, from a stream of its own: other draws do not move.
func (c *Config) drawLie(i int) string {
	const stream = 0x6c79696e67
	rng := rand.New(rand.NewPCG(c.Seed^stream, uint64(i)))
	when := ""
	if rng.Float64() < 0.5 {
		when = fmt.Sprintf("@%.1f s", rng.Float64()*longest.Seconds())
	}
	table := lies.Table(c.Rig)
	for {
		text := drawWhat(table, rng) + when
		if _, err := lies.Parse(table, text); err == nil { // not every rig has every channel
			return text
		}
	}
}

func drawWhat(table []lie.Signal, rng *rand.Rand) string {
	if rng.Float64() < 0.1 {
		return drawnDisobediences[rng.IntN(len(drawnDisobediences))]
	}
	var measured []lie.Signal
	for _, s := range table {
		if !s.Command && s.Unit != "" {
			measured = append(measured, s)
		}
	}
	s := measured[rng.IntN(len(measured))]
	kind := lie.KindNamed(drawnKinds[rng.IntN(len(drawnKinds))])
	share := 0.005 * math.Pow(40, rng.Float64()) // 0.5 % to 20 %
	size := func(v float64, of string) string {
		if of == "°C" {
			of = "K"
		}
		return ":" + unit.Text(unit.Significant(v, 2), of)
	}
	sign := float64(1 - 2*rng.IntN(2))
	text := s.Name + "=" + kind.Name
	switch kind.Size {
	case lie.InUnit:
		if kind.Name == "offset" || kind.Name == "nonlinear" {
			return text + size(sign*share*s.Full, s.Unit)
		}
		return text + size(share*s.Full, s.Unit)
	case lie.InUnitPerMin:
		return text + size(sign*share*s.Full/4, s.Unit) + "/min"
	case lie.AReading:
		if kind.Name == "stuck" {
			return text // at what it shows
		}
		return text + ":" + unit.Text(unit.Significant((0.2+0.6*rng.Float64())*s.Full, 2), s.Unit)
	case lie.InPercent:
		if kind.Name == "gain" {
			return text + size(100*sign*share, "%")
		}
		return text + size(5*math.Pow(20, rng.Float64()), "%")
	case lie.ATime:
		return text + size(0.05*math.Pow(60, rng.Float64()), "s")
	case lie.AnotherName:
		return text + ":" + measured[rng.IntN(len(measured))].Name
	}
	return text
}

// Lied says what was said of units in order on whose bench one instrument lies.
type Lied struct {
	Kind   string `json:"lie"`
	Units  int    `json:"units"`
	Passed int    `json:"passed"` // good units: right, unless the lie hides what it should show
	Open   int    `json:"undecided"`
	Named  int    `json:"instrument_named"` // the verdict is no pass and the channel is named in what is said of the bench
	Bench  int    `json:"bench_blamed"`     // a problem of the bench first, or the bench ended the run; no channel named
	Unit   int    `json:"unit_blamed"`      // failed, and a fault of the unit named first
	Other  int    `json:"failed_without_cause"`
}

// lyings gathers what was said of lies by their kind.
type lyings struct{ by map[string]*Lied }

func (ls *lyings) add(u *Unit) {
	if ls.by == nil {
		ls.by = map[string]*Lied{}
	}
	for _, name := range []string{kindOf(u.Lies), "all"} {
		l := ls.by[name]
		if l == nil {
			l = &Lied{Kind: name}
			ls.by[name] = l
		}
		l.add(u)
	}
}

// kindOf is the kind of a lie, or the name of a disobedience.
func kindOf(told []lie.Lie) string {
	what, _, _ := strings.Cut(told[0].Text, "@")
	if name, how, ok := strings.Cut(what, "="); ok {
		kind, _, _ := strings.Cut(how, ":")
		if strings.HasPrefix(name, lies.CommandPrefix) {
			return "command " + kind
		}
		return kind
	}
	return strings.TrimSpace(what)
}

func (l *Lied) add(u *Unit) {
	l.Units++
	switch {
	case u.Verdict == judge.Pass:
		l.Passed++
	case u.named():
		l.Named++
	case u.Trip != "" || u.among(cause.BenchProblem, 1) || u.Verdict == judge.Error:
		l.Bench++
	case u.Verdict == judge.Undecided:
		l.Open++
	case len(u.Causes) > 0 && u.Causes[0].Name != cause.Healthy:
		l.Unit++
	default:
		l.Other++
	}
}

// named says whether what was said of the bench names a channel that lies.
func (u *Unit) named() bool {
	if u.Trip == "" && !u.among(cause.BenchProblem, 1) && u.Verdict != judge.Undecided {
		return false
	}
	return slices.ContainsFunc(u.Lies, func(l lie.Lie) bool {
		name := strings.TrimPrefix(l.Signal.Name, lies.CommandPrefix)
		return strings.Contains(u.Said, name) || strings.Contains(u.Said, strings.ReplaceAll(name, "_", " "))
	})
}

// table is sorted by kind, all of them last.
func (ls *lyings) table() []Lied {
	var out []Lied
	for _, kind := range slices.Sorted(maps.Keys(ls.by)) {
		if kind != "all" {
			out = append(out, *ls.by[kind])
		}
	}
	if all := ls.by["all"]; all != nil {
		out = append(out, *all)
	}
	return out
}
