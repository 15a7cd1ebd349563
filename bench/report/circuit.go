package report

import (
	"fmt"
	"math"

	"holdfast/bench/measure"
	"holdfast/j1939/unit"
)

// circuitWords is the circuit as identified from the whole run, in words.
type circuitWords struct {
	Rows []circuitRow
	Note string
}

type circuitRow struct{ Name, Value, U, Unit, From, Against string }

// strongly is the correlation from which two parameters are named together: the run tells their combination
// better than each of them. Our choice, no source.
const strongly = 0.9

// circuitOf writes the identified circuit; nil when there is none.
func circuitOf(c measure.Circuit) *circuitWords {
	if !c.OK || len(c.Parameters) == 0 {
		return nil
	}
	w := &circuitWords{}
	for _, p := range c.Parameters {
		r := circuitRow{Name: p.Name, Unit: printed(p.Unit), From: p.From}
		r.Value, r.U = unit.Format(p.Value, p.U)
		if p.Against != "" {
			r.Against = fmt.Sprintf("%s: En %.2f", spoken(p.Against), p.En)
			if p.En > 1 {
				r.Against += ", do not agree"
			}
		}
		w.Rows = append(w.Rows, r)
	}
	w.Note = together(c)
	return w
}

// together names the pairs of parameters that the run hardly tells apart.
func together(c measure.Circuit) string {
	text := ""
	for i, row := range c.Correlation {
		for j := 0; j < i && j < len(row) && i < len(c.Parameters); j++ {
			if math.Abs(row[j]) >= strongly {
				if text != "" {
					text += "; "
				}
				text += fmt.Sprintf("%s and %s (%+.2f)", c.Parameters[j].Name, c.Parameters[i].Name, row[j])
			}
		}
	}
	if text == "" {
		return ""
	}
	return "Hardly told apart (correlation): " + text + "."
}

// circuit writes the identified circuit as the HTML page does.
func (b *booklet) circuit() {
	c := b.s.Circuit
	if c == nil {
		return
	}
	b.heading("The circuit, as identified from the whole run", 60)
	columns := []tableColumn{{"Parameter", 0.34, false}, {"Value", 0.1, true}, {"U (k = 2)", 0.1, false},
		{"Unit", 0.09, false}, {"From", 0.1, false}, {"Against the step's own value", 0.27, false}}
	rows := make([]tableRow, 0, len(c.Rows))
	for _, r := range c.Rows {
		u := r.U
		if u != "" {
			u = "± " + u
		}
		rows = append(rows, tableRow{cells: []string{r.Name, r.Value, u, r.Unit, r.From, r.Against}})
	}
	b.table(columns, body-0.4, rows)
	b.para("One model of the circuit fitted to all steps together. En of at most 1: it agrees with what one "+
		"step alone gave. "+c.Note, 7.6, "")
}
