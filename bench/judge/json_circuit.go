package judge

import "holdfast/bench/measure"

// circuitJSON is the circuit as identified from the whole run.
type circuitJSON struct {
	Why         string          `json:"why,omitempty"` // why there is none
	Parameters  []parameterJSON `json:"parameters"`
	Correlation [][]number      `json:"correlation"` // of the parameters, in their order
}

type parameterJSON struct {
	Name    string `json:"name"`
	Unit    string `json:"unit"`
	Value   number `json:"value"`
	U       number `json:"expanded_uncertainty"`
	From    string `json:"from"`              // record, or assumed
	Against string `json:"against,omitempty"` // the characteristic that says the same from one step
	En      number `json:"en,omitempty"`
}

// An uncertainty is worth two digits (JCGM 100, 7.2.6), a correlation one: where the search for the parameters ends differs
// in the third between processors that fuse multiplication and addition and those that do not.
const (
	digitsOfU         = 2
	correlationPlaces = 1
)

// circuitOf returns nil when nothing was identified and nothing said why.
func circuitOf(c measure.Circuit) *circuitJSON {
	if !c.OK && c.Why == "" {
		return nil
	}
	out := &circuitJSON{Why: c.Why, Parameters: []parameterJSON{}, Correlation: [][]number{}}
	for _, p := range c.Parameters {
		j := parameterJSON{Name: p.Name, Unit: p.Unit, Value: rounded(p.Value, p.U), U: significant(p.U, digitsOfU),
			From: p.From, Against: p.Against}
		if p.Against != "" {
			j.En = fixed(p.En, 2)
		}
		out.Parameters = append(out.Parameters, j)
	}
	for _, row := range c.Correlation {
		line := make([]number, len(row))
		for i, r := range row {
			line[i] = fixed(r, correlationPlaces)
		}
		out.Correlation = append(out.Correlation, line)
	}
	return out
}
