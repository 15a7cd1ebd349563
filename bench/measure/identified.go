package measure

import "math"

// fit weighs every observation by its uncertainty, widens the kinds that scatter by more, and fits again. ratios
// are by how much each kind was found to scatter over what was expected.
func (id *identification) fit() (f fitted, ratios [numGroups]float64, ok bool) {
	n := len(id.obs)
	y := make([]float64, n)
	for g := range ratios {
		ratios[g] = 1
	}
	for range 2 {
		u := make([]float64, n)
		for i, o := range id.obs {
			u[i] = o.u * math.Max(1, ratios[o.group])
			y[i] = o.y / u[i]
		}
		weighed := func(p, out []float64) {
			id.predict(p, out)
			for i := range out {
				out[i] /= u[i]
			}
		}
		if f, ok = fitModel(weighed, y, id.p, 1e-5); !ok || math.IsNaN(f.rss) {
			return f, ratios, false
		}
		id.p = f.p
		id.scatters(&ratios)
	}
	if s := f.s; s > 0 { // fitModel scales by what scatters; ours are known, and were widened where need was
		for a := range f.cov {
			for b := range f.cov[a] {
				f.cov[a][b] /= s * s
			}
		}
	}
	return f, ratios, true
}

// scatters sets by how much the waveforms scatter about the model over what was expected, with what residuals
// remember of their neighbours. Of a kind with few numbers nothing can be said.
func (id *identification) scatters(ratios *[numGroups]float64) {
	at := make([]float64, len(id.obs))
	id.predict(id.p, at)
	for _, g := range [...]int{ofShutIn, ofRise} {
		var res []float64
		ss := 0.0
		for i, o := range id.obs {
			if o.group == g {
				r := (o.y - at[i]) / o.u
				res, ss = append(res, r), ss+r*r
			}
		}
		if len(res) > 8 {
			ratios[g] = math.Sqrt(ss/float64(len(res)-3)) * memory(res, 0)
		}
	}
}

// names of the parameters as reported; scale to their unit.
var parameterNames = [numParameters]struct {
	name, unit string
	scale      float64
	against    string
}{
	pCompliance: {"compliance", "mL/bar", 1, ""},
	pLeak:       {"leak", "mL/min", 60, "leak_rate"},
	pLaminar:    {"laminar share of the leak", "", 1, ""},
	pAir:        {"trapped air's share of the compliance", "", 1, ""},
	pArea:       {"return CdA", "mm2", 1, "restriction_area"},
	pCheck:      {"check valve opening", "bar", 1, ""},
	pTurn:       {"delivery a turn", "mL", 1, "delivery"},
	pYield:      {"delivery lost over nominal pressure", "", 1, ""},
	pAirRising:  {"air's share while pressure was built", "", 1, ""},
	pShort:      {"delivery missing while pressure was built", "", 1, ""},
	pLag:        {"lag of the shaft's speed", "s", 1, ""},
}

// circuit turns a fit into what is reported.
func (id *identification) circuit(f fitted, ratios [numGroups]float64) Circuit {
	c := Circuit{OK: true}
	var kept []int
	for i := range numParameters {
		if !id.returns && (i == pArea || i == pCheck || i == pTurn || i == pYield) || !id.rising && (i == pAirRising || i == pYield || i == pLag || i == pShort) {
			continue
		}
		kept = append(kept, i)
		c.Parameters = append(c.Parameters, id.parameter(i, f))
	}
	for _, a := range kept {
		row := make([]float64, 0, len(kept))
		for _, b := range kept {
			row = append(row, f.cov[a][b]/(f.sd(a)*f.sd(b)))
		}
		c.Correlation = append(c.Correlation, row)
	}
	count := [numGroups]int{}
	for _, o := range id.obs {
		count[o.group]++
	}
	for g, n := range count {
		if n > 8 {
			c.Scatter = append(c.Scatter, Scatter{groupNames[g], n, ratios[g]})
		}
	}
	return c
}

// parameter is one row, held against the characteristic that one step gave.
func (id *identification) parameter(i int, f fitted) Parameter {
	of := parameterNames[i]
	p := Parameter{Name: of.name, Unit: of.unit, Value: f.p[i] * of.scale, U: 2 * f.sd(i) * of.scale, From: "record"}
	switch i {
	case pLaminar:
		p.Value = share(f.p[i])
	case pAir, pAirRising:
		p.Value = positive(f.p[i])
	}
	if l, why := id.leakDown(); i == pLeak && why == "" { // what warming hid, as leak_rate has it
		drift, u := id.thermal(l.span.from, l.span.to)
		p.Value, p.U = p.Value+drift, math.Hypot(p.U, 2*u)
	}
	for _, a := range id.assumed {
		if a.parameter == i && f.sd(i) > 0.7*a.u {
			p.From = "assumed"
		}
	}
	c, ok := id.against(of.against)
	if ok {
		p.Against = of.against
		p.En = math.Abs(p.Value-c.Value) / math.Hypot(p.U, c.U)
	}
	return p
}

// against is the characteristic of a name in the parameter's unit and at its pressure.
func (id *identification) against(name string) (c Characteristic, ok bool) {
	switch name {
	case "leak_rate":
		c = id.leakRate()
	case "restriction_area":
		c = id.restrictionArea()
	case "delivery":
		c = id.delivery()
		perTurn := 1 / (60 * id.turns)
		// At regulated pressure, which is next to nominal.
		c.Value, c.U = c.Value*perTurn, c.U*perTurn
	default:
		return c, false
	}
	return c, c.State == Measured
}
