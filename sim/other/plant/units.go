package plant

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strconv"
	"strings"
)

// Kinds names the unit types there are.
func Kinds() []string { return []string{"reference", "compact-12v", "long-line"} }

// Kind returns the middle unit of a type, without any spread.
func Kind(name string) (Params, error) {
	switch name {
	case "reference":
		return reference(), nil
	case "compact-12v":
		return compact(), nil
	case "long-line":
		return longLine(), nil
	}
	return Params{}, fmt.Errorf("no unit type %q; there are %s", name, strings.Join(Kinds(), ", "))
}

// reference is built after the healthy unit of the bench's description.
func reference() Params {
	return Params{
		SupplyVolts: 24, SupplySag: 0.008, WiringOhms: 0.08, Electronics: 0.12, SensorSupply: 5, BrushDrop: 0.35,
		MotorOhms: 5.2, MotorConstant: 0.055, MotorInertia: 4.5e-5, FrictionDry: 0.0042, FrictionViscous: 8e-6,
		WindingCapacity: 38, WindingCooling: 0.11, CoilOhms: 18, CoilCapacity: 95, CoilCooling: 0.35, CoilPull: 0.5,
		HeaterOhms: 4, HeaterSlope: 1.6e-4, HeaterCapacity: 420, HeaterCooling: 1.6, DoserCoilOhms: 12,
		Stroke: 0.12 * mL, DeadVolume: 0.055 * mL, HeadStretch: 0.0007 * mL / bar, SeatTime: 0.9e-3,
		PumpThrough: 1.6 * mm2,
		SuctionArea: 2.2 * mm2, SuctionSpace: 40 * mL, Lift: 0.35, SeatLeak: 0.1 * perMn / (9 * bar),
		FilterLoss: 0.07 * bar / (160 * perMn), HeadSpace: 0.05 * mL / bar, LineVolume: 38 * mL, LineRadius: 2e-3,
		LineLength:  3,
		HoseStretch: 0.30 * mL / bar, Creep1: 0.05, Creep2: 0.035, Creep3: 0.03, CreepTime1: 0.7, CreepTime2: 9,
		CreepTime3: 95,
		PocketAir:  0.28 * mL, WetFrom: 0.90, WetTo: 0.985, BubbleSlip: 0.25, Polytropic: 1.18, FilmLoss: 0.065,
		SensorHeight: 0.25, LineTime: 210, ReturnArea: 0.066 * mm2, ReturnReynolds: 2.5,
		CheckOpens: 0.3 * bar, CheckShuts: 0.8, CheckSlope: 0.02 * bar / (160 * perMn),
		SpoolTime: 0.045, CoilTime: 0.012, DoserArea: 0.040 * mm2, DoserAir: 0.5, DoserRate: 4, DoserLost: 1.5e-3,
		DoserDrip: 0.004 * perMn / (9 * bar),
		VentArea:  0.9 * mm2, ShutoffTime: 0.08, Barometer: 98900, RoomCelsius: 21, TankCelsius: 20, TankMass: 1.6,
		TankTime:    5400,
		Evaporation: 5e-8, CasingSpace: 2.5 * mL, ResidueLine: 0.04, ResidueSuck: 0.06, NominalGauge: 9 * bar,
	}
}

// compact is a small 12 V unit on a short thin line at 5 bar: a short stroke, turning fast.
func compact() Params {
	p := reference()
	p.SupplyVolts, p.WiringOhms, p.NominalGauge = 12.6, 0.05, 5*bar
	p.MotorOhms, p.MotorConstant, p.MotorInertia = 1.9, 0.0195, 1.1e-5
	p.FrictionDry, p.FrictionViscous, p.WindingCapacity, p.WindingCooling = 0.0022, 3e-6, 17, 0.09
	p.CoilOhms, p.CoilCapacity, p.CoilPull, p.HeaterOhms, p.HeaterCapacity, p.DoserCoilOhms = 7.5, 60, 0.6, 1.9,
		260, 6
	p.Stroke, p.DeadVolume, p.HeadStretch, p.SeatTime = 0.035*mL, 0.018*mL, 0.0003*mL/bar, 0.5e-3
	p.PumpThrough, p.SuctionArea, p.SuctionSpace, p.SeatLeak = 0.9*mm2, 1.3*mm2, 14*mL, 0.05*perMn/(5*bar)
	p.FilterLoss, p.HeadSpace = 0.08*bar/(70*perMn), 0.02*mL/bar
	p.LineVolume, p.LineRadius, p.LineLength = 10.6*mL, 1.5e-3, 1.5
	p.HoseStretch, p.PocketAir, p.CreepTime3, p.LineTime = 0.062*mL/bar, 0.10*mL, 60, 120
	p.ReturnArea, p.CheckOpens, p.CheckSlope = 0.042*mm2, 0.5*bar, 0.02*bar/(70*perMn)
	p.SpoolTime, p.DoserArea, p.DoserRate, p.DoserLost, p.DoserDrip = 0.025, 0.022*mm2, 5, 1.1e-3,
		0.003*perMn/(5*bar)
	p.VentArea, p.CasingSpace, p.TankMass = 0.5*mm2, 1*mL, 0.9
	return p
}

// longLine is a big slow 24 V unit for a doser far away: a long stroke, a wide restriction, five metres of
// soft hose.
func longLine() Params {
	p := reference()
	p.MotorOhms, p.MotorConstant, p.MotorInertia = 2.1, 0.105, 1.6e-4
	p.FrictionDry, p.FrictionViscous, p.WindingCapacity, p.WindingCooling = 0.012, 3e-5, 110, 0.3
	p.CoilOhms, p.CoilCapacity, p.HeaterOhms, p.HeaterCapacity = 26, 150, 5.5, 700
	p.Stroke, p.DeadVolume, p.HeadStretch, p.SeatTime = 0.34*mL, 0.13*mL, 0.0022*mL/bar, 1.6e-3
	p.PumpThrough, p.SuctionArea, p.SuctionSpace, p.SeatLeak = 3.2*mm2, 5*mm2, 70*mL, 0.18*perMn/(9*bar)
	p.FilterLoss, p.HeadSpace = 0.06*bar/(280*perMn), 0.12*mL/bar
	p.LineVolume, p.LineRadius, p.LineLength = 98*mL, 2.5e-3, 5
	p.HoseStretch, p.Creep1, p.Creep2, p.Creep3 = 1.15*mL/bar, 0.06, 0.05, 0.04
	p.PocketAir, p.LineTime, p.FilmLoss = 0.7*mL, 330, 0.055
	p.ReturnArea, p.CheckOpens, p.CheckSlope = 0.115*mm2, 0.45*bar, 0.02*bar/(280*perMn)
	p.SpoolTime, p.DoserArea, p.DoserRate, p.DoserLost = 0.07, 0.075*mm2, 3, 2.2e-3
	p.VentArea, p.CasingSpace, p.TankMass = 1.4*mm2, 6*mL, 2.6
	return p
}

// Drawn returns one unit of the type: each number moved by its spread, cut at 2.5 standard deviations and at
// its range.
func Drawn(name string, rng *rand.Rand) (Params, error) {
	p, err := Kind(name)
	if err != nil {
		return p, err
	}
	v := reflect.ValueOf(&p).Elem()
	for i := range v.NumField() {
		tag := v.Type().Field(i).Tag
		by, unit, _ := strings.Cut(tag.Get("spread"), " ")
		relative := strings.HasSuffix(by, "%") && unit == ""
		width, err := strconv.ParseFloat(strings.TrimSuffix(by, "%"), 64)
		if err != nil {
			return p, fmt.Errorf("%s: spread %q: %w", v.Type().Field(i).Name, tag.Get("spread"), err)
		}
		middle := v.Field(i).Float()
		if relative {
			width *= middle / 100
		}
		lo, hi, err := Range(tag)
		if err != nil {
			return p, fmt.Errorf("%s: %w", v.Type().Field(i).Name, err)
		}
		z := max(-2.5, min(2.5, rng.NormFloat64()))
		v.Field(i).SetFloat(max(lo, min(hi, middle+width*z)))
	}
	return p, nil
}

// Range reads the range of a parameter from its tag.
func Range(tag reflect.StructTag) (lo, hi float64, err error) {
	parts := strings.Split(tag.Get("range"), "..")
	if len(parts) != 2 {
		return 0, 0, fmt.Errorf("range %q is not low..high", tag.Get("range"))
	}
	if lo, err = strconv.ParseFloat(parts[0], 64); err == nil {
		hi, err = strconv.ParseFloat(parts[1], 64)
	}
	return lo, hi, err
}

// Faults names every fault there is, in order.
func Faults() []string {
	var names []string
	for name := range faultTable {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}
