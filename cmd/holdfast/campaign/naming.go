package campaign

import (
	"cmp"
	"maps"
	"slices"

	"holdfast/bench/cause"
	"holdfast/bench/judge"
)

// Named says what a fault was taken for, over the units that have it alone and did not pass.
type Named struct {
	Fault   string         `json:"fault"` // healthy: units without a fault that did not pass
	Units   int            `json:"units"` // all that have it alone
	NotPass int            `json:"failing"`
	First   int            `json:"named_first"`
	InTwo   int            `json:"named_in_first_two"`
	OrLike  int            `json:"named_first_or_its_like"` // named first, or said to be what the first cannot be told from
	Taken   map[string]int `json:"first_cause"`             // how often each cause was named first: the confusion matrix
	Unknown bool           `json:"unknown_cause,omitempty"`
}

// namings gathers the confusion matrix of the causes.
type namings struct {
	by              map[string]*Named
	known           map[string]bool    // causes that the harness can name
	stated, adopted statings           // of units with one fault or none
	several         statings           // of units with more, adopted
	priors          map[string]float64 // the campaign's own frequencies
}

func (ns *namings) add(u *Unit) {
	if ns.by == nil {
		ns.by, ns.known = map[string]*Named{}, map[string]bool{}
	}
	for _, c := range u.Causes {
		ns.known[c.Name] = true
	}
	if u.failing() && len(u.Causes) > 0 {
		adopted := cause.Reweigh(u.Causes, ns.priors)
		if len(u.Faults) > 1 {
			ns.several.add(u, adopted)
		} else {
			ns.stated.add(u, u.Causes)
			ns.adopted.add(u, adopted)
		}
	}
	fault := u.Single()
	if len(u.Faults) == 0 {
		fault = cause.Healthy
	}
	if fault == "" {
		return
	}
	n := ns.by[fault]
	if n == nil {
		n = &Named{Fault: fault, Taken: map[string]int{}}
		ns.by[fault] = n
	}
	n.Units++
	if u.failing() && len(u.Causes) > 0 {
		n.add(u)
	}
}

// Troubled says what a problem of the bench was taken for. The units on it are in order.
type Troubled struct {
	Name   string         `json:"trouble"`
	Units  int            `json:"units"`
	Passed int            `json:"passed"`
	Failed int            `json:"failed"` // the verdict blames the unit
	Named  int            `json:"named"`  // of the others: a problem of the bench was named first
	Taken  map[string]int `json:"first_cause"`
}

type troublings struct{ by map[string]*Troubled }

func (ts *troublings) add(u *Unit) {
	if ts.by == nil {
		ts.by = map[string]*Troubled{}
	}
	t := ts.by[u.Trouble.Name]
	if t == nil {
		t = &Troubled{Name: u.Trouble.Name, Taken: map[string]int{}}
		ts.by[u.Trouble.Name] = t
	}
	t.Units++
	switch u.Verdict {
	case judge.Pass:
		t.Passed++
		return
	case judge.Fail:
		t.Failed++
	}
	if len(u.Causes) > 0 {
		t.Taken[u.Causes[0].Name]++
	}
	if u.among(cause.BenchProblem, 1) {
		t.Named++
	}
}

func (ts *troublings) table() []Troubled {
	var out []Troubled
	for _, name := range slices.Sorted(maps.Keys(ts.by)) {
		out = append(out, *ts.by[name])
	}
	return out
}

// failing units are those that the bench does not let go: failed, or ended by the interlock.
func (u *Unit) failing() bool { return u.Verdict == judge.Fail || u.Verdict == judge.Tripped }

func (n *Named) add(u *Unit) {
	n.NotPass++
	n.Taken[u.Causes[0].Name]++
	if u.among(n.Fault, 1) {
		n.First++
	}
	if u.among(n.Fault, 2) {
		n.InTwo++
	}
	if u.among(n.Fault, 1) || u.Causes[0].Like == n.Fault {
		n.OrLike++
	}
}

// table is sorted by fault.
func (ns *namings) table() []Named {
	var out []Named
	for _, fault := range slices.Sorted(maps.Keys(ns.by)) {
		n := ns.by[fault]
		n.Unknown = !ns.known[fault]
		out = append(out, *n)
	}
	return out
}

// mistaken lists what a fault was taken for instead, most often first.
func (n *Named) mistaken() []string {
	var names []string
	for name := range n.Taken {
		if name != n.Fault {
			names = append(names, name)
		}
	}
	slices.SortFunc(names, func(a, b string) int {
		return cmp.Or(cmp.Compare(n.Taken[b], n.Taken[a]), cmp.Compare(a, b))
	})
	return names
}
