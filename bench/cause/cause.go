// Package cause ranks what is likely wrong with a unit, with the evidence in words. Pure.
//
// It weighs the measured characteristics by Bayes' rule: each cause says what it does to each sign when
// it is light, plain or severe, and the three are averaged; signs are standardised by their uncertainty
// and by what healthy units do, and taken as independent given cause and stage. What it states holds for one thing
// being wrong; of two faults at once it names one, and states how likely it is one of them. It measures nothing and
// judges nothing: a likely cause never makes a unit fail.
//
// What healthy units do, where no limit of the plan says it, is the reference unit's on the reference bench.
package cause

// ProbabilityOf is what a ranking gives to a cause, 0 when it does not name it.
func ProbabilityOf(ranked []Cause, name string) float64 {
	for _, c := range ranked {
		if c.Name == name {
			return c.Probability
		}
	}
	return 0
}

// Cause is one possible fault with the probability that the evidence gives it.
type Cause struct {
	Name        string  // e.g. membrane-split; "healthy" and "bench-problem" are causes too
	Title       string  // in the trade's words: "pump membrane split"
	Probability float64 // 0..1; all causes of one run add up to 1
	Evidence    string  // one line: which readings, with numbers, units and limits
	OpenFirst   string  // what to open or check first
	Like        string  // name of the cause that this run cannot tell it from; "" for none
}
