package campaign

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
)

// coverings gathers the coverage of every characteristic in the order of the first unit's table.
type coverings struct {
	order []string
	by    map[string]*covering
}

type covering struct {
	Coverage
	inside, insideHealthy int
	sumU, sumE, sumZ2     float64
	with                  map[string]*missing // by the one fault that a unit has
}

// missing counts the intervals that miss with one fault.
type missing struct{ units, missed int }

func (cs *coverings) add(u *Unit) {
	if cs.by == nil {
		cs.by = map[string]*covering{}
	}
	for i := range u.Values {
		v := &u.Values[i]
		c := cs.by[v.label()]
		if c == nil {
			c = &covering{Coverage: Coverage{Name: v.Name, At: v.At}, with: map[string]*missing{}}
			cs.by[v.label()], cs.order = c, append(cs.order, v.label())
		}
		if v.Measured && v.Known && !exact[v.Name] {
			c.add(v, len(u.Faults) == 0)
			c.addFault(v, u.Single())
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

func (c *covering) addFault(v *Value, fault string) {
	if fault == "" {
		return
	}
	m := c.with[fault]
	if m == nil {
		m = &missing{}
		c.with[fault] = m
	}
	m.units++
	if !covered(v) {
		m.missed++
	}
}

// mostMissed names the faults with which intervals miss far more often than one in twenty, worst first:
// what the budget of that characteristic does not know of.
func (c *covering) mostMissed() []string {
	const least, share, told = 3, 0.2, 3
	names := slices.Sorted(maps.Keys(c.with))
	names = slices.DeleteFunc(names, func(f string) bool {
		m := c.with[f]
		return m.missed < least || float64(m.missed) < share*float64(m.units)
	})
	slices.SortStableFunc(names, func(a, b string) int {
		return cmp.Compare(c.with[b].missed, c.with[a].missed)
	})
	names = names[:min(told, len(names))]
	for i, f := range names {
		names[i] = fmt.Sprintf("%s %d/%d", f, c.with[f].missed, c.with[f].units)
	}
	return names
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
		c.Missed = c.mostMissed()
		if c.HealthN > 0 {
			c.Healthy = float64(c.insideHealthy) / float64(c.HealthN)
		}
		out = append(out, c.Coverage)
	}
	return out
}
