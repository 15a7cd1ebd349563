package campaign

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"holdfast/bench/cause"
	"holdfast/bench/history"
	"holdfast/bench/judge"
)

// Mixup counts a confusion that costs a good part or a second strip: one kind of trouble that was named
// first as another.
type Mixup struct {
	Is    string  `json:"is"`
	Named string  `json:"named"`
	Times int     `json:"times"`
	Of    int     `json:"of"`
	Most  float64 `json:"most_likely_share"` // upper end of the 95 % interval of the share (Wilson)
}

// group is a set of causes by name.
type group []string

var (
	sensorItself = group{"sensor-offset", "sensor-gain", "sensor-noisy"}
	sensorSupply = group{"sensor-supply-lost"}
)

func (g group) has(name string) bool { return slices.Contains(g, name) }

// The mix-ups that are counted, over single-fault units and over benches in trouble that did not pass.
const (
	supplyAsSensor = iota
	sensorAsSupply
	benchAsUnit
	unitAsBench
	numMixups
)

// mixupNames are what is there, and what it must not be taken for.
var mixupNames = [numMixups][2]string{{"sensor's supply lost", "the sensor"}, {"sensor bad", "its supply"},
	{"bench or bus in trouble", "a fault of the unit"}, {"unit with a fault", "a problem of the bench"}}

// couldMix says which mix-ups a unit counts for, and which of them came about.
func (u *Unit) couldMix() (counts, mixed [numMixups]bool) {
	if len(u.Causes) == 0 || u.Verdict == judge.Pass {
		return counts, mixed
	}
	put := func(i int, is bool) { counts[i], mixed[i] = true, is }
	first, fault := u.Causes[0].Name, u.Single()
	if u.Trouble.Name != "" {
		put(benchAsUnit, first != cause.BenchProblem && first != cause.Healthy || u.Verdict == judge.Fail)
		return counts, mixed
	}
	if len(u.Faults) > 0 {
		put(unitAsBench, first == cause.BenchProblem)
	}
	switch {
	case !u.failing():
	case sensorSupply.has(fault):
		put(supplyAsSensor, sensorItself.has(first))
	case sensorItself.has(fault):
		put(sensorAsSupply, sensorSupply.has(first))
	}
	return counts, mixed
}

type mixups [numMixups]Mixup

func (m *mixups) add(u *Unit) {
	counts, mixed := u.couldMix()
	for i := range m {
		if counts[i] {
			m[i].count(mixed[i])
		}
	}
}

func (m *Mixup) count(mixed bool) {
	m.Of++
	if mixed {
		m.Times++
	}
}

func (m *mixups) table() []Mixup {
	var out []Mixup
	for i, x := range m {
		if x.Of > 0 {
			x.Is, x.Named = mixupNames[i][0], mixupNames[i][1]
			_, _, x.Most = history.Rate(x.Times, x.Of)
			out = append(out, x)
		}
	}
	return out
}

func (s *Summary) mixupText(w io.Writer) {
	if len(s.Mixups) == 0 {
		return
	}
	fmt.Fprint(w, "must not be mixed up: is\tnamed\ttimes\tof\tshare at the most (95 %)\t\n")
	for _, m := range s.Mixups {
		fmt.Fprintf(w, "%s\t%s\t%d\t%d\t%.2g %%\t\n", m.Is, m.Named, m.Times, m.Of, 100*m.Most)
	}
}

// Matrix writes the confusion matrix as CSV: a row for each fault, a column for each cause that was
// named first, over units that have the fault alone and did not pass.
func (s *Summary) Matrix(out io.Writer) error {
	var named []string
	for i := range s.Causes {
		for name := range s.Causes[i].Taken {
			if !slices.Contains(named, name) {
				named = append(named, name)
			}
		}
	}
	slices.Sort(named)
	if _, err := fmt.Fprintln(out, "fault,units,failing,"+strings.Join(named, ",")); err != nil {
		return err
	}
	for i := range s.Causes {
		n := &s.Causes[i]
		line := fmt.Sprintf("%s,%d,%d", n.Fault, n.Units, n.NotPass)
		for _, name := range named {
			line += fmt.Sprintf(",%d", n.Taken[name])
		}
		if _, err := fmt.Fprintln(out, line); err != nil {
			return err
		}
	}
	return nil
}
