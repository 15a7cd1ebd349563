package campaign

import (
	"fmt"
	"io"

	"holdfast/bench/cause"
	"holdfast/bench/history"
	"holdfast/sim"
)

// Bin compares a stated probability with how often it was right.
type Bin struct {
	From  float64 `json:"from"` // stated probability of the first-named cause
	To    float64 `json:"to"`
	Units int     `json:"units"`
	Mean  float64 `json:"stated"`
	Right float64 `json:"right"`
	Low   float64 `json:"right_low"` // 95 % interval of the share that was right (Wilson)
	High  float64 `json:"right_high"`
}

// Agrees says whether what was stated lies within the interval of what was right.
func (b *Bin) Agrees() bool { return b.Mean >= b.Low && b.Mean <= b.High }

// binEdges are finer near 1, where most first causes are.
var binEdges = [...]float64{0, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.99, 1}

// statings gathers how often a stated probability was right, over failing units. What is stated holds for one thing
// being wrong. Units with several faults are gathered apart: there each of them is a right answer.
type statings [len(binEdges) - 1]struct {
	units, right int
	stated       float64
}

func (s *statings) add(u *Unit, causes []cause.Cause) {
	p := causes[0].Probability
	for i := range s {
		if b := &s[i]; p <= binEdges[i+1] {
			b.units++
			b.stated += p
			if u.really(causes[0].Name) {
				b.right++
			}
			return
		}
	}
}

// really says whether a cause is one of the unit's faults; that a unit is healthy, whether it has none.
func (u *Unit) really(name string) bool {
	return u.Faults[name] > 0 || name == cause.Healthy && len(u.Faults) == 0
}

func (s *statings) bins() []Bin {
	var out []Bin
	for i, b := range s {
		if b.units > 0 {
			right, low, high := history.Rate(b.right, b.units)
			out = append(out, Bin{binEdges[i], binEdges[i+1], b.units, b.stated / float64(b.units), right, low, high})
		}
	}
	return out
}

// frequencies are how often the campaign draws each cause. A stated probability can only come true
// where the causes are as common as it assumes: a campaign draws every fault as often as the other, the
// harness takes a torn membrane for ten times as common as a stuck check valve. So the stated
// probabilities are also held against the truth after the campaign's own frequencies have been put in,
// as a shop's are by `holdfast causes --adopt`.
func (c *Config) frequencies() map[string]float64 {
	names := c.Faults
	if len(names) == 0 {
		names = sim.FaultNames()
	}
	f := map[string]float64{}
	for name := range cause.Priors() {
		f[name] = 0
	}
	f[cause.Healthy] = c.Healthy
	for _, name := range names {
		f[name] += (1 - c.Healthy - c.Trouble) / float64(len(names))
	}
	return f
}

func (s *Summary) statedText(w io.Writer) {
	statedTable(w, "probability stated for the first cause", s.Stated)
}

func (s *Summary) adoptedText(w io.Writer) {
	statedTable(w, "the same, with this campaign's frequencies adopted", s.Adopted)
}

func (s *Summary) severalText(w io.Writer) {
	statedTable(w, "the same, of units with several faults: is it one of them?", s.Several)
}

func statedTable(w io.Writer, head string, bins []Bin) {
	if len(bins) == 0 {
		return
	}
	fmt.Fprintf(w, "%s\tunits\tmean\tright\tinterval (95 %%)\tagrees\t\n", head)
	for _, b := range bins {
		fmt.Fprintf(w, "%g .. %g %%\t%d\t%.1f %%\t%.1f %%\t%.1f .. %.1f %%\t%s\t\n", 100*b.From, 100*b.To, b.Units,
			100*b.Mean, 100*b.Right, 100*b.Low, 100*b.High, map[bool]string{true: "yes", false: "no"}[b.Agrees()])
	}
}
