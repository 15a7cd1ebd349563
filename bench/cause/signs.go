package cause

import (
	"fmt"
	"math"

	"holdfast/bench/characteristic"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
)

// What healthy units do where a sign is no characteristic and no plan can set a limit to it. The
// figures are the reference unit's (ours), the widths what its spread and the instruments make of them.
var (
	freeBand    = band{0.14, none, 0.25} // A
	checkBand   = band{0.9, none, 2}     // bar
	fallBand    = band{0.3, -0.9, 1.5}   // %
	noiseBand   = band{0.005, none, 0.03}
	wiringBand  = band{0.08, none, 0.3} // ohm
	fellBand    = band{0, none, 5}      // %
	spreadBand  = band{0, -2, 2}        // % of dosing error, least duty less most
	poursBand   = band{0, none, 3.5}    // g/min: more is no drip any more
	lawBand     = band{80, 68, 92}      // % of a leak that is laminar: between a gap\'s and a split\'s
	fillingBand = band{0, none, 15}     // g/min that still go into the line when priming was given up
	shutBand    = band{0, none, 9}      // % of the pressure gone a second after the pump stops
	freezesAt   = -9.0                  // °C: AUS 32 begins to freeze at -11 (physics.md 1.3)
	nothing     = 0.15                  // bar: less than the line's own resistance makes of any flow
	lawFromLeak = 0.5                   // mL/min: below it the law of a leak is the seats' own
)

// signs takes in what a run says beside its characteristics.
func (e *evidence) signs() {
	s := e.seen.Signs
	e.sign(freeCurrent, s.FreeCurrent, freeBand, "pump current against no pressure %.2f A")
	e.sign(checkOpens, s.CheckOpens, checkBand, "the return does not flow below %.1f bar")
	e.sign(fallWithLoad, s.FallWithLoad, fallBand, "delivery a turn changes by %+.1f %% when more is drawn")
	noise := s.SensorNoise
	if in := e.rig.Channels[rig.LinePressure]; in != nil {
		noise.U = in.Resolution / math.Sqrt(12)
	}
	e.sign(sensorNoise, noise, noiseBand, "the sensor's reading scatters by %.2f bar, vented")
	e.sign(wiring, s.Wiring, wiringBand, "%.2f ohm between the bench's terminals and the unit")
	e.sign(heaterFell, s.HeaterFell, fellBand, "the heater's current fell by %.0f %% while switched on")
	e.sign(collapse, percent(s.Collapse), shutBand,
		"%.0f %% of the pressure was gone a second after the pump stopped")
	if s.Temperature.OK {
		f := feature{known: true}
		if s.Temperature.Value < freezesAt {
			f.z, f.text = 3*atLimit, fmt.Sprintf("fluid at %.0f °C", s.Temperature.Value)
		}
		e.f[cold] = f
	}
	e.sign(stillFilling, s.StillFilling, fillingBand, "%.0f g/min still went into the line when priming was given up")
	if s.PrimePeak.OK {
		f := feature{known: true}
		if s.PrimePeak.Value < nothing {
			f.z, f.text = 2*atLimit, "no pressure at all while priming"
		}
		e.f[nothingBuilt] = f
	}
	switch h := measure.Find(e.chars, characteristic.HeaterResistance, ""); h.State { // a protection is whole or open, never between
	case measure.Measured:
		e.plain(heater, characteristic.HeaterResistance, "heater")
		e.f[heaterGone] = feature{known: true}
	case measure.AtLeast:
		e.f[heaterGone] = feature{known: true, z: 2 * atLimit, text: "no current in the heater"}
	}
	e.plain(coil, characteristic.CoilResistance, "coil of the return valve")
	leak, drip := measure.Find(e.chars, characteristic.LeakRate, ""), measure.Find(e.chars, characteristic.DoserLeak, "")
	if leak.State == measure.Measured && leak.Value > lawFromLeak {
		e.sign(laminar, percent(s.LaminarShare), lawBand,
			"%.0f %% of the leak is laminar (a seat's nearly all, a split's less than half)")
	}
	if drip.State == measure.Measured {
		e.sign(pours, measure.Sign{Value: drip.Value, U: drip.U / 2, OK: true}, poursBand,
			"%.1f g/min is more than a drip")
	}
	e.dosedApart()
	e.pump(&s)
}

// sign takes a sign in; its text is said with the value.
func (e *evidence) sign(k key, s measure.Sign, b band, words string) {
	if s.OK {
		e.f[k] = feature{known: true, z: b.z(s.Value, s.U), text: fmt.Sprintf(words, s.Value)}
	}
}
