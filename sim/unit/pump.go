package unit

import (
	"math"

	"holdfast/sim/hydraulic"
)

// Pump is the diaphragm pump's fluid end: stroke, valves and what they lose.
type Pump struct {
	Stroke     float64 // m3 a turn; 0.12 mL
	Efficiency float64 // volumetric at no pressure: the valves' lag
	Yield      float64 // m3/Pa a stroke: how much the membrane gives way
	InletCdA   float64 // m2, of filter and suction line; 0: so wide that the chamber always fills
	InletSeat  float64 // m2, CdA by which the inlet valve lets back what it should hold
	Filter     float64 // Pa s/m3, of the main filter between pump and line

	cavity float64 // m3 of the chamber that suction has not filled yet
	flow   float64 // m3/s out of the chamber in the last step
}

// Port is the fluid at the pump.
type Port struct {
	Gauge   float64 // in the line, Pa
	Suction float64 // what pushes fluid into the chamber: ambient less vapour pressure, Pa
	Density float64 // kg/m3
	Celsius float64
}

// EfficiencyAt is the volumetric efficiency against a pressure difference (Pa).
func (p *Pump) EfficiencyAt(difference float64) float64 {
	return max(0, p.Efficiency-p.Yield*max(difference, 0)/p.Stroke)
}

// against is the pressure difference that the membrane works against without flow, Pa.
func (p *Pump) against(gauge float64, forward bool) float64 {
	if forward {
		return gauge
	}
	return -gauge
}

// move returns the liquid volume (m3) that leaves the chamber in dt when the membrane pushes
// out and draws in so much of a stroke.
func (p *Pump) move(dt, out, drawn, difference float64, port *Port) float64 {
	swept := 0.0
	if out > 0 {
		difference += p.Filter * p.flow
		swept = out * p.Stroke * p.EfficiencyAt(difference)
		if p.InletSeat > 0 && difference > 0 {
			swept = max(0, swept-hydraulic.Orifice(p.InletSeat, difference, port.Density)*dt)
		}
	}
	if p.InletCdA > 0 {
		swept = p.cavitate(dt, swept, drawn*p.Stroke, port)
	}
	p.flow = swept / dt
	return swept
}

// cavitate holds what the chamber takes in to what the suction side lets through at the
// most, with vapour in the chamber: CdA sqrt(2 (pa - pv)/rho). The next stroke closes the
// cavity that is left before it delivers.
func (p *Pump) cavitate(dt, swept, drawn float64, port *Port) float64 {
	p.cavity += drawn
	fills := p.InletCdA * math.Sqrt(2*port.Suction/port.Density) * dt
	closed := swept
	if fills+swept > p.cavity { // closed within the step, by both
		closed = p.cavity * swept / max(fills+swept, math.SmallestNonzeroFloat64)
	}
	p.cavity = max(0, p.cavity-fills-swept)
	return swept - closed
}
