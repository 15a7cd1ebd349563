package cause

import (
	"fmt"
	"math"

	"holdfast/bench/characteristic"
	"holdfast/bench/measure"
)

// What healthy units do, as in signs.go: the centre is the reference unit's on the reference bench, the width is
// some times what its spread and the instruments make of it.
var (
	fillBand   = band{82, 77, none}     // % of the stroke volume drawn a turn while the line is empty
	easesBand  = band{0, none, 30}      // % by which the drawing eases
	takesBand  = band{73.5, 70, none}   // mL
	speedBand  = band{165, 160, none}   // r/min for each V
	loadBand   = band{0.19, 0.17, 0.21} // V/bar
	wetBand    = band{95, 89, none}     // % once liquid has come to the pump
	demandBand = band{169, 152, 186}    // mL/min
)

// pump takes in what priming and holding say of pump and motor.
//
// Speed, drive, efficiency and prime time of a pump all move together, so that one fault would be counted four
// times. These part them: what a turn draws without pressure (stroke, valves, suction), what a volt turns
// without load (motor, filter), what a bar takes in volts (motor, stroke), and what flows at nominal pressure if a
// turn still moves what it drew (whatever lets out more or less than it should).
func (e *evidence) pump(s *measure.Signs) {
	e.sign(fillTurn, percent(s.FillPerTurn), fillBand,
		"a turn draws %.0f %% of the stroke while the line fills (good: 82)")
	e.sign(fillWet, percent(s.FillWet), wetBand,
		"a turn draws %.0f %% of the stroke once liquid has come to the pump (good: 95)")
	e.sign(fillEases, percent(s.FillEases), easesBand,
		"at the end of priming in vain the pump drew %.0f %% less than at first")
	e.sign(fillTakes, s.FillTakes, takesBand, "pressure was there after %.0f mL (good: 73)")
	e.sign(freeSpeed, s.SpeedPerVolt, speedBand, "%.0f r/min for each volt against no pressure (good: 165)")
	e.sign(loadVolts, s.LoadVolts, loadBand, "each bar takes %.3f V at the motor (good: 0.190)")
	e.demand(s)
	e.stroke(s)
	e.wetFurther(s)
}

// furtherBand is by how many points more of the delivery a turn is missing with liquid at the pump than with air.
var furtherBand = band{-1, none, 4}

// wetFurther parts a way back from all that keeps the pump from drawing. Short strokes, bad valves, air and a throttled
// suction side cost the same share of each turn, be it air or liquid. What a spool lets back goes by the pressure, and
// there is hardly any while the line is empty.
func (e *evidence) wetFurther(s *measure.Signs) {
	if s.FillWet.OK && s.FillPerTurn.OK {
		air, wet := 1-100*s.FillPerTurn.Value/fillBand.centre, 1-100*s.FillWet.Value/wetBand.centre
		u := math.Hypot(100*s.FillPerTurn.U/fillBand.centre, 100*s.FillWet.U/wetBand.centre)
		e.sign(wetFurther, percent(measure.Sign{Value: wet - air, U: u, OK: true}), furtherBand,
			"%.0f %% more of a turn's delivery is missing once liquid has come to the pump")
	}
}

// A pump that draws less a turn than it should draws so with a short stroke, and then pressure has the less to
// push on and takes less of the motor too; or it loses what it draws through a valve or a split, and then
// pressure takes as much as ever. strokeLine lies between: the share of what is missing that the load shows.
const strokeLine, loadSpread = 0.4, 0.03

func (e *evidence) stroke(s *measure.Signs) {
	if !s.LoadVolts.OK || e.f[fillWet].z > -standsOut || !e.f[fillWet].known {
		return
	}
	missing := 1 - 100*s.FillWet.Value/wetBand.centre
	share := (1 - s.LoadVolts.Value/loadBand.centre) / missing
	u := math.Hypot(loadSpread, s.LoadVolts.U/loadBand.centre) / missing
	e.f[strokeShare] = feature{known: true, apart: 2 * strokeLine / u, z: (share - strokeLine) / u,
		text: fmt.Sprintf("of the delivery that is missing the motor's load shows %.0f %%", 100*share)}
}

// demand is HoldTurns times what a turn drew, less what the shut-in showed to leak.
func (e *evidence) demand(s *measure.Signs) {
	if !s.HoldTurns.OK || !s.FillWet.OK || e.rig.StrokeVol <= 0 {
		return
	}
	q := s.HoldTurns.Value * s.FillWet.Value * e.rig.StrokeVol
	u := q * math.Hypot(s.HoldTurns.U/s.HoldTurns.Value, s.FillWet.U/s.FillWet.Value)
	if leak := measure.Find(e.chars, characteristic.LeakRate, ""); leak.State == measure.Measured {
		q, u = q-math.Max(0, leak.Value), math.Hypot(u, leak.U/2)
	}
	e.f[flows] = feature{known: true, z: demandBand.z(q, u),
		text: fmt.Sprintf("the pump turns as if %.0f mL/min flowed at nominal pressure (good: 169)", q)}
}

// percent is a share in %.
func percent(s measure.Sign) measure.Sign {
	return measure.Sign{Value: 100 * s.Value, U: 100 * s.U, OK: s.OK}
}
