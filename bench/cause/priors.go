package cause

import (
	"maps"
	"slices"
	"sort"
)

// Priors returns how common the model takes each fault of a unit to be (and a healthy unit), before any
// evidence. They add up to about 1.
func Priors() map[string]float64 {
	priors := make(map[string]float64, len(patterns))
	for i := range patterns {
		priors[patterns[i].name] = patterns[i].prior
	}
	return priors
}

// Titles returns the causes a strip-down can find, by name, in the trade's words.
func Titles() map[string]string {
	titles := make(map[string]string, len(patterns))
	for i := range patterns {
		titles[patterns[i].name] = patterns[i].title
	}
	return titles
}

// Names returns the names of Titles, sorted.
func Names() []string { return slices.Sorted(maps.Keys(Titles())) }

// Reweigh returns the causes as they would be with other priors: by Bayes' rule each is multiplied by
// the ratio of its new prior to the model's, and all are scaled so that the unit's causes keep their sum.
// The probability of a bench problem stays: it is no property of units. A cause that priors does not
// name keeps the model's prior.
func Reweigh(causes []Cause, priors map[string]float64) []Cause {
	model := Priors()
	out := slices.Clone(causes)
	before, after := 0.0, 0.0
	for i := range out {
		old, isUnit := model[out[i].Name]
		if !isUnit {
			continue
		}
		before += out[i].Probability
		if p, named := priors[out[i].Name]; named && old > 0 && p >= 0 {
			out[i].Probability *= p / old
		}
		after += out[i].Probability
	}
	if !(after > 0) {
		return causes
	}
	for i := range out {
		if _, isUnit := model[out[i].Name]; isUnit {
			out[i].Probability *= before / after
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Probability > out[j].Probability })
	return out
}

// Learn returns priors from how often each cause was found in a shop. The model's own priors count as
// weight findings, so that a cause not yet seen does not become impossible (a Dirichlet prior; Gelman et
// al., Bayesian Data Analysis, 3rd ed., 3.4, from memory). Findings that the model does not know are
// left out.
//
// A shop strips the units that failed: its findings say how common each fault is among faulty units and
// nothing of how many are healthy. The share of healthy units therefore stays the model's.
func Learn(found map[string]int, weight float64) map[string]float64 {
	model := Priors()
	faulty, n := 0.0, 0.0
	for _, name := range slices.Sorted(maps.Keys(model)) { // in one order, so that the sum has the same last bit
		if p := model[name]; name != Healthy {
			faulty += p
			n += float64(found[name])
		}
	}
	learnt := map[string]float64{Healthy: model[Healthy]}
	for name, p := range model {
		if name != Healthy {
			learnt[name] = faulty * (float64(found[name]) + weight*p/faulty) / (n + weight)
		}
	}
	return learnt
}
