package plant

import (
	"fmt"
	"math/rand/v2"
	"strconv"
	"strings"
)

// Harm is what is wrong with a unit, as numbers that the physics takes up. The zero value of a unit is Whole.
type Harm struct {
	SplitG, SplitArea, SplitLoss      float64 // m3/s/Pa, m2, share of the stroke
	OutletG, InletArea                float64
	OutsideG, OutsideArea             float64
	FilterBlock                       float64 // Pa/(m3/s)2
	AirShare                          float64
	CheckBack                         float64 // share of the restriction that lets back
	SpoolMin, SpoolMax, SpoolSlow     float64
	DoserStuck, DoserLate, DripG      float64 // share of full opening, s, m3/s/Pa
	DoserNever, CoilDead, CoilOpen    bool
	CoilTimes, HeaterTimes, MoreOhms  float64
	HeaterDead                        bool
	ProtectionOpens, ProtectionCloses float64 // °C of the heater
	Thicker                           float64 // viscosity, times
	CrystalsUntil, CrystalShare       float64 // s, share of the return's area until then
	SensorOffset, SensorGain          float64 // Pa, relative
	SensorNoise                       float64 // Pa
	SensorLeft                        float64 // V; not 0: what is left of the supply
	SensorUnfed                       bool
}

// Whole is a unit without any fault. Its heater has a protection that no run reaches.
func Whole() Harm {
	return Harm{SpoolMax: 1, SpoolSlow: 1, CoilTimes: 1, HeaterTimes: 1, Thicker: 1, ProtectionOpens: 140,
		ProtectionCloses: 90}
}

// Fault is one fault with its severity, 0..1.
type Fault struct {
	Name     string
	Severity float64
}

// ParseFault reads NAME=SEVERITY.
func ParseFault(text string) (Fault, error) {
	name, at, ok := strings.Cut(text, "=")
	if _, known := faultTable[name]; !known {
		return Fault{}, fmt.Errorf("no fault %q; there are %s", name, strings.Join(Faults(), ", "))
	}
	s, err := strconv.ParseFloat(at, 64)
	if !ok || err != nil || !(s >= 0 && s <= 1) {
		return Fault{}, fmt.Errorf("%q: expected NAME=SEVERITY with a severity of 0 to 1, for example %s=0.5", text,
			name)
	}
	return Fault{name, s}, nil
}

// damage is what a fault may change, and the draw of its sign.
type damage struct {
	p     *Params
	fluid *Fluid
	h     *Harm
	sign  float64
	rng   *rand.Rand
}

// leakAt gives the laminar conductance or turbulent area of a leak of so many mL/min at the unit's nominal
// pressure.
func (d damage) leakG(mlPerMin float64) float64 { return mlPerMin * perMn / d.p.NominalGauge }
func (d damage) leakArea(mlPerMin float64) float64 {
	return mlPerMin * perMn / orifice(1, d.p.NominalGauge, 1090)
}

// faultTable says what each fault does at a severity s. All sizes are invented.
var faultTable = map[string]func(d damage, s float64){
	"membrane-split": func(d damage, s float64) {
		d.h.SplitG, d.h.SplitArea, d.h.SplitLoss = d.leakG(4*s), d.leakArea(14*s), 0.2*s
	},
	"pump-worn":         func(d damage, s float64) { d.p.Stroke *= 1 - 0.42*s; d.p.SeatTime *= 1 + 1.2*s },
	"outlet-valve-leak": func(d damage, s float64) { d.h.OutletG = d.leakG(13 * s) },
	"inlet-valve-leak":  func(d damage, s float64) { d.h.InletArea = 2.2 * s * d.p.ReturnArea },
	"motor-worn": func(d damage, s float64) {
		d.p.FrictionDry += 9 * s * d.p.FrictionDry
		d.p.MotorOhms *= 1 + 0.4*s
		d.p.BrushDrop *= 1 + 2*s
	},
	"filter-blocked": func(d damage, s float64) {
		q := orifice(d.p.ReturnArea, d.p.NominalGauge, 1090)
		d.h.FilterBlock = 2 * s * d.p.NominalGauge / (3 * q * q)
		d.p.FilterLoss += 0.5 * s * d.p.NominalGauge / q
	},
	"inlet-blocked": func(d damage, s float64) { d.p.SuctionArea *= (1 - 0.985*s) * (1 - 0.5*s) },
	"suction-air":   func(d damage, s float64) { d.h.AirShare = 0.26 * s },
	"return-fouled": func(d damage, s float64) { d.p.ReturnArea *= 1 - 0.72*s },
	"return-eroded": func(d damage, s float64) { d.p.ReturnArea *= 1 + 1.4*s },
	"return-check-leak": func(d damage, s float64) {
		d.p.CheckOpens *= 1 - 0.97*s
		d.h.CheckBack = 0.8 * s
	},
	"return-check-stuck": func(d damage, s float64) { d.p.CheckOpens += 1.1 * s * d.p.NominalGauge },
	"outside-leak": func(d damage, s float64) {
		d.h.OutsideG, d.h.OutsideArea = d.leakG(9*s), d.leakArea(9*s)
	},
	"return-valve-stuck":   func(d damage, s float64) { d.h.SpoolMax, d.h.SpoolSlow = 1-0.75*s, 1+25*s },
	"return-valve-reverse": func(d damage, s float64) { d.h.SpoolMin = s },
	"return-valve-coil": func(d damage, s float64) {
		d.h.CoilTimes, d.h.CoilOpen, d.h.CoilDead = 1+2.2*s, s >= 0.95, s >= 0.75
	},
	"doser-drip":       func(d damage, s float64) { d.h.DripG = d.leakG(3.4 * s) },
	"doser-stuck-open": func(d damage, s float64) { d.h.DoserStuck = 0.22 * s },
	"doser-stuck-shut": func(d damage, s float64) { d.h.DoserLate, d.h.DoserNever = 0.11*s, s >= 0.95 },
	"doser-blocked":    func(d damage, s float64) { d.p.DoserArea *= 1 - 0.85*s },
	"sensor-offset":    func(d damage, s float64) { d.h.SensorOffset = d.sign * 0.9 * bar * s },
	"sensor-gain":      func(d damage, s float64) { d.h.SensorGain = d.sign * 0.09 * s },
	"sensor-noisy":     func(d damage, s float64) { d.h.SensorNoise = 0.3 * bar * s },
	"sensor-supply-lost": func(d damage, s float64) {
		d.h.SensorUnfed, d.h.SensorLeft = s > 0, d.p.SensorSupply*(1-s)
	},
	"supply-resistance": func(d damage, s float64) { d.h.MoreOhms = 2.8 * s * d.p.SupplyVolts / 24 },
	"heater-open":       func(d damage, s float64) { d.h.HeaterTimes, d.h.HeaterDead = 1+4*s, s >= 0.7 },
	"heater-protection": func(d damage, s float64) {
		d.h.ProtectionOpens = d.p.RoomCelsius + 2.2*(1-s)
		d.h.ProtectionCloses = d.h.ProtectionOpens - 1.5 - 60*ramp(s, 0.7, 0.8)
	},
	"fluid-frozen": func(d damage, s float64) {
		d.p.TankCelsius, d.p.RoomCelsius = -11.5-6*s, -8-6*s
		d.p.SuctionArea *= max(1e-3, (1-s)*(1-s)*(1-s))
		d.h.Thicker = 1 + 5*s
		d.p.FrictionDry *= 1 + 14*s
	},
	"wrong-fluid": func(d damage, s float64) { d.fluid.Water = s },
	// Two that are no faults of the unit, but happen at a bench.
	"cold-fluid": func(d damage, s float64) { d.p.TankCelsius -= 18 * s; d.p.RoomCelsius -= 9 * s },
	"crystals-loosen": func(d damage, s float64) {
		d.h.CrystalShare, d.h.CrystalsUntil = 1-0.6*s, 45+90*d.rng.Float64()
	},
}

// Apply puts the faults into a unit.
func Apply(p *Params, fluid *Fluid, faults []Fault, rng *rand.Rand) Harm {
	h := Whole()
	for _, f := range faults {
		if f.Severity == 0 {
			continue
		}
		sign := 1.0
		if rng.Uint64()&1 == 0 {
			sign = -1
		}
		faultTable[f.Name](damage{p: p, fluid: fluid, h: &h, sign: sign, rng: rng}, f.Severity)
	}
	return h
}
