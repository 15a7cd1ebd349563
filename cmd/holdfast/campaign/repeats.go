package campaign

import "math"

// Repeated compares the scatter of a characteristic over tests of one unit on one bench with the uncertainty that each
// test states of it.
type Repeated struct {
	Name    string  `json:"characteristic"`
	Units   int     `json:"units"` // with two or more values
	Tests   int     `json:"tests"`
	TwoS    float64 `json:"two_s"` // twice the pooled standard deviation within a unit
	MeanU   float64 `json:"mean_u"`
	Ratio   float64 `json:"ratio"`        // of the two; above 1 the scatter is wider than what is stated
	Outside int     `json:"beyond_own_u"` // tests whose value lies further than its U from the mean of its unit
	Worst   float64 `json:"worst_ratio"`  // greatest distance from the mean over U
}

// repeatings gathers the values of each unit by characteristic.
type repeatings struct {
	order []string
	by    map[string]map[int][]Value // by label, then by unit
}

func (rs *repeatings) add(u *Unit) {
	if rs.by == nil {
		rs.by = map[string]map[int][]Value{}
	}
	for i := range u.Values {
		v := &u.Values[i]
		if !v.Measured || exact[v.Name] {
			continue
		}
		if rs.by[v.label()] == nil {
			rs.by[v.label()], rs.order = map[int][]Value{}, append(rs.order, v.label())
		}
		rs.by[v.label()][u.Number] = append(rs.by[v.label()][u.Number], *v)
	}
}

func (rs *repeatings) table(units int) []Repeated {
	var out []Repeated
	for _, label := range rs.order {
		r, ss, freedom, sumU := Repeated{Name: label}, 0.0, 0, 0.0
		for number := range units { // in their order: sums must not depend on that of a map
			values := rs.by[label][number]
			if len(values) < 2 {
				continue
			}
			r.Units++
			mean := 0.0
			for _, v := range values {
				mean += v.Value / float64(len(values))
			}
			for _, v := range values {
				off := math.Abs(v.Value - mean)
				ss, sumU = ss+off*off, sumU+v.U
				r.Tests++
				if off > v.U {
					r.Outside++
				}
				if v.U > 0 {
					r.Worst = max(r.Worst, off/v.U)
				}
			}
			freedom += len(values) - 1
		}
		if freedom == 0 {
			continue
		}
		r.TwoS, r.MeanU = 2*math.Sqrt(ss/float64(freedom)), sumU/float64(r.Tests)
		if r.MeanU > 0 {
			r.Ratio = r.TwoS / r.MeanU
		}
		out = append(out, r)
	}
	return out
}
