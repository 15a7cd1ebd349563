package campaign

import "math"

// coverings gathers the coverage of every characteristic in the order of the first unit's table.
type coverings struct {
	order []string
	by    map[string]*covering
}

type covering struct {
	Coverage
	inside, insideHealthy int
	sumU, sumE, sumZ2     float64
}

func (cs *coverings) add(u *Unit) {
	if cs.by == nil {
		cs.by = map[string]*covering{}
	}
	for i := range u.Values {
		v := &u.Values[i]
		c := cs.by[v.label()]
		if c == nil {
			c = &covering{Coverage: Coverage{Name: v.Name, At: v.At}}
			cs.by[v.label()], cs.order = c, append(cs.order, v.label())
		}
		if v.Measured && v.Known && !exact[v.Name] {
			c.add(v, len(u.Faults) == 0)
		}
	}
}

func (c *covering) add(v *Value, healthy bool) {
	in := covered(v)
	c.Units++
	if healthy {
		c.HealthN++
	}
	if in {
		c.inside++
		if healthy {
			c.insideHealthy++
		}
	}
	err := v.Value - v.Truth
	c.sumU += v.U
	c.sumE += err
	if v.U > 0 {
		c.sumZ2 += 4 * err * err / (v.U * v.U)
	}
}

// covered says whether the stated interval holds the true value. Rounding of a float's last digit is
// no miss.
func covered(v *Value) bool { return math.Abs(v.Value-v.Truth) <= v.U+1e-12*math.Abs(v.Truth) }

// table leaves out what was never measured.
func (cs *coverings) table() []Coverage {
	var out []Coverage
	for _, name := range cs.order {
		c := cs.by[name]
		if c.Units == 0 {
			continue
		}
		n := float64(c.Units)
		c.Covered, c.MeanU, c.Bias, c.RMS = float64(c.inside)/n, c.sumU/n, c.sumE/n, math.Sqrt(c.sumZ2/n)
		if c.HealthN > 0 {
			c.Healthy = float64(c.insideHealthy) / float64(c.HealthN)
		}
		out = append(out, c.Coverage)
	}
	return out
}
