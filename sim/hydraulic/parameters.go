package hydraulic

import (
	"errors"
	"fmt"
)

// Unit factors, so that numbers read as people at a bench say them.
const (
	ML       = 1e-6      // m3 per mL
	Bar      = 1e5       // Pa per bar
	MM2      = 1e-6      // m2 per mm2
	MLPerBar = ML / Bar  // m3/Pa per mL/bar
	MLPerMin = ML / 60.0 // m3/s per mL/min
)

// Parameters of one circuit. The table below gives unit, range and source of each.
type Parameters struct {
	LineVolume     float64
	LineBore       float64
	SuctionVolume  float64
	SuctionBore    float64
	SuctionLift    float64
	Compliance     float64
	TrappedAir     float64
	ReturnCdA      float64
	CheckOpening   float64
	CheckBack      float64
	DoseCdA        float64
	DoseFrequency  float64
	DoseLost       float64
	DoseStays      float64
	LaminarLeak    float64
	TurbulentLeak  float64
	DripCdA        float64
	OutsideCdA     float64
	VentCdA        float64
	ReliefOpening  float64
	ReliefCdA      float64
	PumpValveCdA   float64
	PumpValveCrack float64
	DeadVolume     float64
	SuctionAir     float64
}

// row states one parameter: where it stands, unit, admitted range, source.
type row struct {
	name, unit string
	lo, hi     float64
	source     string
	at         func(*Parameters) *float64
}

const (
	reference = "reference unit of our own invention"
	practice  = "common practice, no source"
)

// table is the only place where a parameter's unit, range and source are stated.
var table = [...]row{
	{"line volume", "m3", 1e-6, 500e-6, reference + ": 3 m x 4 mm",
		func(p *Parameters) *float64 { return &p.LineVolume }},
	{"line bore", "m", 1e-3, 20e-3, reference,
		func(p *Parameters) *float64 { return &p.LineBore }},
	{"suction volume", "m3", 1e-6, 500e-6, reference,
		func(p *Parameters) *float64 { return &p.SuctionVolume }},
	{"suction bore", "m", 1e-3, 20e-3, reference,
		func(p *Parameters) *float64 { return &p.SuctionBore }},
	{"share of blown-back air that empties the suction hose", "1", 0, 1,
		"0: the tank stands above the unit, as on the reference bench; 1: below",
		func(p *Parameters) *float64 { return &p.SuctionLift }},
	// Hose 4 x 6 mm polyamide 0.0108 mL/bar a metre (Lame, E 0.7 GPa); the rest is the elastic
	// element of the filter housing. Liquid included. Trapped air comes on top.
	{"compliance without air", "m3/Pa", 1e-15, 1e-10, reference,
		func(p *Parameters) *float64 { return &p.Compliance }},
	{"trapped air at 1.01325 bar", "m3", 0, 50e-6, practice,
		func(p *Parameters) *float64 { return &p.TrappedAir }},
	{"return CdA", "m2", 0, 1e-6, reference + ": 0.36 mm bore",
		func(p *Parameters) *float64 { return &p.ReturnCdA }},
	{"check valve opening", "Pa", 0, 20e5, reference + "; far above: it sticks",
		func(p *Parameters) *float64 { return &p.CheckOpening }},
	{"share of the return that the check valve lets back", "1", 0, 1, "0: it holds",
		func(p *Parameters) *float64 { return &p.CheckBack }},
	{"dosing valve CdA, open", "m2", 0, 1e-6, reference + ": 106 g/min at 9 bar",
		func(p *Parameters) *float64 { return &p.DoseCdA }},
	{"dosing frequency", "Hz", 0.5, 50, reference,
		func(p *Parameters) *float64 { return &p.DoseFrequency }},
	{"time lost per opening", "s", 0, 1, reference + "; far above: it sticks shut",
		func(p *Parameters) *float64 { return &p.DoseLost }},
	{"share of the dosing valve that stays open", "1", 0, 1, "0: it shuts",
		func(p *Parameters) *float64 { return &p.DoseStays }},
	{"laminar leak at 20 °C", "m3/(Pa s)", 0, 1e-11, reference + ": 0.1 mL/min at 9 bar, seats",
		func(p *Parameters) *float64 { return &p.LaminarLeak }},
	{"turbulent leak CdA", "m2", 0, 1e-6, "membrane split",
		func(p *Parameters) *float64 { return &p.TurbulentLeak }},
	{"dosing valve drip CdA", "m2", 0, 1e-6, "dosing valve seat",
		func(p *Parameters) *float64 { return &p.DripCdA }},
	{"outside leak CdA", "m2", 0, 1e-6, "fitting",
		func(p *Parameters) *float64 { return &p.OutsideCdA }},
	{"vent CdA", "m2", 0, 1e-4, practice + ": 2.2 mm bore",
		func(p *Parameters) *float64 { return &p.VentCdA }},
	{"relief opening", "Pa", 1e5, 50e5, practice,
		func(p *Parameters) *float64 { return &p.ReliefOpening }},
	{"relief CdA", "m2", 0, 1e-4, practice,
		func(p *Parameters) *float64 { return &p.ReliefCdA }},
	{"pump valves CdA", "m2", 0, 1e-4, practice,
		func(p *Parameters) *float64 { return &p.PumpValveCdA }},
	{"pump valves' opening, both", "Pa", 0, 1e5, practice,
		func(p *Parameters) *float64 { return &p.PumpValveCrack }},
	{"dead volume over stroke", "1", 0, 10, practice,
		func(p *Parameters) *float64 { return &p.DeadVolume }},
	{"air share at the pump inlet", "1", 0, 0.95, "leak on the suction side",
		func(p *Parameters) *float64 { return &p.SuctionAir }},
}

// Reference returns the circuit of the healthy reference unit on the reference bench.
func Reference() Parameters {
	return Parameters{
		LineVolume: 38 * ML, LineBore: 4e-3, SuctionVolume: 40 * ML, SuctionBore: 5e-3,
		Compliance: 0.397 * MLPerBar, TrappedAir: 0.3 * ML,
		ReturnCdA: 0.066 * MM2, CheckOpening: 0.3 * Bar,
		DoseCdA: 0.040 * MM2, DoseFrequency: 4, DoseLost: 1.5e-3,
		LaminarLeak: 0.1 * MLPerMin / (9 * Bar),
		VentCdA:     3 * MM2, ReliefOpening: 13.5 * Bar, ReliefCdA: 1 * MM2,
		PumpValveCdA: 0.5 * MM2, PumpValveCrack: 0.08 * Bar, DeadVolume: 0.5,
	}
}

// Validate returns every parameter outside its admitted range.
func (p Parameters) Validate() error {
	var errs []error
	for _, r := range table {
		if v := *r.at(&p); !(v >= r.lo && v <= r.hi) {
			errs = append(errs, fmt.Errorf("%s is %g %s; %g to %g would do (%s)",
				r.name, v, r.unit, r.lo, r.hi, r.source))
		}
	}
	return errors.Join(errs...)
}
