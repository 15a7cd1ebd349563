package report

import (
	"fmt"
	"math"

	"holdfast/bench/judge"
	"holdfast/j1939/unit"
)

// budget is where one characteristic's uncertainty comes from (JCGM 100:2008, 5.1 and annex H's tables).
type budget struct {
	Name, Unit, U string
	Lines         []budgetLine
}

type budgetLine struct {
	Source string
	U      string // standard uncertainty
	Share  string // of the combined variance
}

// negligible is the share of the variance below which a contribution is counted and not written: a
// thousandth of the uncertainty.
const negligible = 1e-6

func budgetsOf(res *judge.Result) []budget {
	var all []budget
	for _, l := range res.Lines {
		if len(l.Budget) == 0 {
			continue
		}
		_, u := unit.Format(l.Value, l.U)
		b := budget{Name: spoken(named(l)), Unit: printed(l.Unit), U: u}
		sum := 0.0
		for _, c := range l.Budget {
			sum += c.U * c.U
		}
		small := 0
		for _, c := range l.Budget {
			if c.U*c.U < negligible*sum {
				small++
				continue
			}
			share := "-"
			if sum > 0 && !math.IsInf(sum, 0) {
				share = shareOf(c.U * c.U / sum)
			}
			b.Lines = append(b.Lines, budgetLine{spoken(c.Source), significant(c.U), share})
		}
		if small > 0 {
			b.Lines = append(b.Lines, budgetLine{fmt.Sprintf("others that add nothing: %d", small), "0", "0 %"})
		}
		all = append(all, b)
	}
	return all
}

// shareOf writes a part of the whole.
func shareOf(part float64) string {
	if part > 0 && part < 0.01 {
		return "< 1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*part)
}

// significant writes an uncertainty to two significant digits.
func significant(u float64) string {
	if _, s := unit.Format(0, u); s != "" {
		return s
	}
	return "0"
}
