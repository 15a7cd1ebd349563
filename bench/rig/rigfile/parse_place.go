package rigfile

import (
	"fmt"
	"strings"

	"holdfast/bench/rig"
	"holdfast/bench/yamltext"
	"holdfast/j1939/unit"
)

// place reads where the bench stands, and holds a typed barometer against it.
func (p *parsing) place(f *yamltext.Fields) {
	if n := f.Get("altitude"); n != nil {
		a := p.Fields(n, "altitude")
		land := yamltext.Range{Min: -430, Max: 5600} // from the lowest shore to the highest town
		from, ok := a.Quantity("from", unit.Length, land, "0 m")
		to, ok2 := a.Quantity("to", unit.Length, land, "500 m")
		a.Done()
		switch {
		case !ok || !ok2:
		case from > to:
			p.Add(n, fmt.Sprintf("altitude: from %g m to %g m", from, to), "swap them")
		default:
			p.rig.Altitude = &rig.Altitude{Lowest: from, Highest: to}
		}
	}
	p.rig.Barometer = p.estimate(f, "barometer", unit.Pressure, false, "{value: 1.013 bar, U: 0.02 bar}")
	low, high, why := p.rig.Atmosphere()
	if b := p.rig.Barometer.Value; b != 0 && (b < low || b > high) {
		p.Add(f.Get("barometer"), fmt.Sprintf("barometer: %g bar", b), fmt.Sprintf("the air has %.2f to %.2f bar, %s (absolute, "+
			"not brought to sea level)", low, high, why))
	}
}

// relief reads relief: 13 bar, or relief: none. It comes after the guard, which it is held against.
func (p *parsing) relief(f *yamltext.Fields) {
	n := f.Get("relief")
	if n == nil {
		return
	}
	if n.Kind == yamltext.Text && strings.TrimSpace(n.Text) == "none" {
		p.rig.Relief = &rig.Relief{None: true}
		return
	}
	trips := p.rig.Guard.MaxPressure
	at, ok := f.Quantity("relief", unit.Pressure, yamltext.Range{Min: 1, Max: 2 * highestGuard}, "13 bar   # or none")
	switch {
	case !ok:
	case trips > 0 && at <= trips:
		p.Add(n, fmt.Sprintf("relief: %g bar with max_pressure %g bar", at, trips),
			"it must open above max_pressure: one that opens first would pass for a leak")
	case trips > 0 && at > 2*trips:
		p.Add(n, fmt.Sprintf("relief: %g bar with max_pressure %g bar", at, trips),
			"a valve so far above bounds nothing: set it within twice max_pressure, or write none")
	default:
		p.rig.Relief = &rig.Relief{At: at}
	}
}
