package judge

import "holdfast/bench/measure"

// checkJSON is one check of the bench's instruments. What it found is told where it is broken.
type checkJSON struct {
	Name     string   `json:"name"`
	Layer    string   `json:"layer"`    // possible, alive, at rest or consistent
	Channels []string `json:"channels"` // which instruments it speaks of, the likeliest first
	Value    number   `json:"value"`
	Unit     string   `json:"unit"`
	Low      number   `json:"low"` // where the value must lie; null: open
	High     number   `json:"high"`
	U        number   `json:"expanded_uncertainty"`
	Broken   bool     `json:"broken"`
	Found    string   `json:"found,omitempty"`
	Why      string   `json:"why,omitempty"`
	Next     string   `json:"next,omitempty"` // the one check at the bench that would show it
}

func checksJSON(checks []measure.Check) []checkJSON {
	all := []checkJSON{}
	for _, c := range checks {
		j := checkJSON{Name: c.Name, Channels: []string{}, Layer: c.Layer.String(), Value: rounded(c.Value, 2*c.U), Unit: c.Unit,
			Low: fixed(c.Low, -1), High: fixed(c.High, -1), U: significant(2*c.U, 3), Broken: c.Broken()}
		for _, s := range c.Suspects {
			j.Channels = append(j.Channels, s.String())
		}
		if j.Broken {
			j.Found, j.Why, j.Next = c.Found, c.Why, c.Next
		}
		all = append(all, j)
	}
	return all
}

// unseenJSON is what the bench cannot see by itself.
type unseenJSON struct {
	What  string `json:"what"`
	Shown string `json:"shown_by"`
}

func unseenOf(all []Unseen) []unseenJSON {
	out := []unseenJSON{}
	for _, u := range all {
		out = append(out, unseenJSON(u))
	}
	return out
}
