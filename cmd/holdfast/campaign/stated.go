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

// binEdges are finer near 1, where most first causes are.
var binEdges = [...]float64{0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.99, 1}

// statings gathers how often a stated probability was right, over failing units with one fault or none.
type statings [len(binEdges) - 1]struct {
	units, right int
	stated       float64
}

func (s *statings) add(causes []cause.Cause, fault string) {
	p := causes[0].Probability
	for i := range s {
		if b := &s[i]; p <= binEdges[i+1] {
			b.units++
			b.stated += p
			if causes[0].Name == fault {
				b.right++
			}
			return
		}
	}
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
		f[name] += (1 - c.Healthy - c.Several - c.Trouble) / float64(len(names))
	}
	return f
}

func (s *Summary) statedText(w io.Writer) {
	statedTable(w, "probability stated for the first cause", s.Stated)
}

func (s *Summary) adoptedText(w io.Writer) {
	statedTable(w, "the same, with this campaign's frequencies adopted", s.Adopted)
}

func statedTable(w io.Writer, head string, bins []Bin) {
	if len(bins) == 0 {
		return
	}
	fmt.Fprintf(w, "%s\tunits\tmean\tright\tinterval (95 %%)\t\n", head)
	for _, b := range bins {
		fmt.Fprintf(w, "%g .. %g %%\t%d\t%.1f %%\t%.1f %%\t%.1f .. %.1f %%\t\n", 100*b.From, 100*b.To, b.Units,
			100*b.Mean, 100*b.Right, 100*b.Low, 100*b.High)
	}
}
