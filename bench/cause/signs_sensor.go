package cause

import (
	"fmt"
	"math"

	"holdfast/bench/characteristic"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	units "holdfast/j1939/unit"
)

// gainBand is what the gain of a good sensor is off by, in %.
var gainBand = band{0, -2, 2}

// The figures of the usual ratiometric sensor, and of good sensors and valves.
const (
	wholeSupply = 5.0  // V, of a ratiometric sensor; common practice, no source
	barometer   = 1.0  // bar: what an absolute sensor reads when vented
	noAir       = 0.1  // bar absolute: an absolute sensor that shows less when vented shows nothing
	zeroSpread  = 0.02 // bar, of good sensors
	dosedU      = 0.01 // relative: how well pressure is known from what good valves dose
)

// sensor parts what is wrong with the unit's sensor into an offset and a gain: an absolute sensor with a gain
// error is wrong when vented too, by the barometer's share, and one with an offset is wrong under pressure too.
// An error that a low supply explains is the supply's.
func (e *evidence) sensor() {
	zeroAt := measure.Find(e.chars, characteristic.SensorZero, "")
	if zeroAt.State != measure.Measured { // nobody looked at it vented: what it is off by may be either
		e.f[sensorOff], e.f[span] = e.f[span], feature{}
		return
	}
	if zeroAt.Value < noAir-barometer && !e.f[pinned].known {
		e.f[pinned] = feature{known: true, z: 4 * atLimit,
			text: "vented, the sensor shows no pressure at all, not even the air's"}
	}
	supplied := measure.Find(e.chars, characteristic.SensorSupply, "").State == measure.Measured
	if !supplied { // a low supply can only be told by what it does
		e.f[lowZero] = e.f[zero]
	}
	gain, u, ok := e.gainError(zeroAt)
	if !ok {
		return
	}
	text := fmt.Sprintf("gain of the sensor off by %s %%", units.Signed(gain, 1))
	offset := zeroAt.Value - gain/100*barometer
	if g, o := e.bySupply(); math.Abs(gain-g) < math.Abs(gain) {
		text += fmt.Sprintf(", its supply alone makes %s %%", units.Signed(g, 1))
		offset, gain = zeroAt.Value-o-(gain-g)/100*barometer, gain-g
	}
	e.f[span] = feature{known: true, z: gainBand.z(gain, u), text: text}
	b, _ := e.bandOf(characteristic.SensorZero)
	e.f[zero].z = b.z(offset, math.Hypot(zeroAt.U/2, u/100*barometer))
	if !supplied && gain < -2*u {
		e.shape(offset, gain, math.Hypot(zeroAt.U/2+zeroSpread, u/100*barometer))
	}
}

// shape parts a sensor with a low gain from one with a low supply: the second is too low at no pressure too, by
// an eighth of its full scale for all of its gain.
func (e *evidence) shape(offset, gain, u float64) {
	in := e.rig.Channels[rig.LinePressure]
	if in == nil || in.Accuracy.Span <= 0 {
		return
	}
	whole := gain / 100 * in.Accuracy.Span / 8
	e.f[supplyShape] = feature{known: true, apart: math.Abs(whole / u), z: (offset/whole - 0.5) / math.Abs(u/whole),
		text: fmt.Sprintf("gain off by %s %% and at no pressure by %s bar, as a low supply makes it",
			units.Signed(gain, 1), units.Signed(offset, 2))}
}

// gauge parts a sensor that is off from a gauge that is, by what the dosing valve gave: the valve's flow goes by the root
// of the true pressure. Held against the gauge, dosing is right where the sensor is off, and off by half as much as
// the sensor seems to be where it is the gauge.
func (e *evidence) gauge() {
	at := measure.Find(e.chars, characteristic.SensorSpanError, "")
	duty, off, ok := e.mostDosed()
	if at.State != measure.Measured || !ok || duty <= 0 || e.rig.Kind == rig.Controller || e.f[doserLeak].z > standsOut {
		return
	}
	b, _ := e.bandOf(characteristic.SensorSpanError)
	if math.Abs(b.z(at.Value, at.U/2)) < standsOut {
		return
	}
	half := at.Value / 2
	share, u := (off.Value-atMost)/half, math.Hypot(gaugeByValve, off.U/2)/math.Abs(half)
	e.f[gaugeOff] = feature{known: true, apart: 1 / u, z: (share - 0.5) / u,
		text: fmt.Sprintf("dosing is off by %s %% by the gauge's pressure", units.Signed(off.Value, 1))}
}

// gaugeByValve is how well in % the dosing of good valves is known at the most duty. Ours, of the simulated bench's.
const gaugeByValve = 0.7

// mostDosed is the dosing error at the greatest duty.
func (e *evidence) mostDosed() (duty float64, at measure.Characteristic, ok bool) {
	for _, s := range e.plan.Steps {
		c := measure.Find(e.chars, characteristic.DosingError, scenario.SetPoint(s.Duty))
		if s.Kind == scenario.Dose && s.Duty > duty && c.State == measure.Measured {
			duty, at, ok = s.Duty, c, true
		}
	}
	return duty, at, ok
}

// bySupply is what a low supply makes of a ratiometric sensor that gives a tenth of its supply at no pressure:
// its gain in % and its zero in bar. 0, 0 where supply or full scale is not known.
func (e *evidence) bySupply() (gain, zero float64) {
	v, in := measure.Find(e.chars, characteristic.SensorSupply, ""), e.rig.Channels[rig.LinePressure]
	if v.State != measure.Measured || in == nil {
		return 0, 0
	}
	short := 1 - v.Value/wholeSupply
	return -100 * short, -short * (barometer + in.Accuracy.Span/8) // 0.1 over 0.8 of the supply a full scale
}

// gainError is in % of the reading, with its standard uncertainty: from the reference gauge, or where there is
// none and the zero is off, from the pressure that the dosing valve must have had, or where nothing was dosed, from
// what pressure cost the motor.
func (e *evidence) gainError(zeroAt measure.Characteristic) (gain, u float64, ok bool) {
	p := e.plan.Nominal
	if at := measure.Find(e.chars, characteristic.SensorSpanError, ""); at.State == measure.Measured {
		off, u := at.Value/100*p-zeroAt.Value, math.Hypot(at.U/200*p, zeroAt.U/2)
		return 100 * off / p, 100 * u / p, true
	}
	b, _ := e.bandOf(characteristic.SensorZero)
	e2, ok := e.meanDosing()
	if math.Abs(b.z(zeroAt.Value, zeroAt.U/2)) < standsOut {
		return 0, 0, false
	}
	if !ok || e.f[doserLeak].z > standsOut || math.Abs(e.f[dosingSpread].z) > standsOut { // then it is the valve
		return e.gainByLoad(zeroAt.Value)
	}
	if e.rig.Kind == rig.Controller {
		e2 -= ownModel
	}
	real := p * sq(1+e2/100)
	return 100 * (p - real - zeroAt.Value) / real, 100 * math.Hypot(dosedU, zeroAt.U/2/p), true
}

// loadU is the relative standard uncertainty of a pressure that is told by what it costs the motor: of good units.
const loadU = 0.042

// gainByLoad tells the gain by the motor's voltage for each bar, which a sensor that reads low makes large: a bar that
// it shows is more than one. A sensor that is off by as much at every pressure does that by its offset alone.
func (e *evidence) gainByLoad(offset float64) (gain, u float64, ok bool) {
	l := e.seen.Signs.LoadVolts
	if !l.OK || l.Value <= 0 || e.plan.Nominal-offset <= 0 {
		return 0, 0, false
	}
	real := l.Value * e.plan.Nominal / (e.plan.Nominal - offset)
	return 100 * (loadBand.centre/real - 1), 100 * math.Hypot(loadU, l.U/l.Value), true
}

// meanDosing is the mean of the dosing errors in %.
func (e *evidence) meanDosing() (avg float64, ok bool) {
	n := 0.0
	for _, c := range e.chars {
		if c.Name == characteristic.DosingError && c.State == measure.Measured {
			avg, n = avg+c.Value, n+1
		}
	}
	return avg / math.Max(n, 1), n > 0
}

// Trouble codes of a unit's own controller that speak of a circuit: SPN by SAE J1939DA (public sources in the
// parameter catalogue), FMI by SAE J1939-73 appendix A: 3 voltage above normal or shorted to high, 4 voltage
// below normal or shorted to low, 5 current below normal or open, 6 current above normal or grounded.
const (
	spnDoserPressure = 4334
	spnReturnValve   = 4376
)

func circuitFMI(fmi uint8) bool { return fmi >= 3 && fmi <= 6 }

// codes takes in what the unit's own controller says of its circuits. Who sends no codes says nothing.
func (e *evidence) codes() {
	if e.rig.Kind != rig.Controller {
		return
	}
	for k, spn := range map[key]uint32{sensorCircuit: spnDoserPressure, coilCircuit: spnReturnValve} {
		e.f[k] = feature{known: true}
		for _, f := range e.rec.Faults {
			if f.Active && f.SPN == spn && circuitFMI(f.FMI) {
				e.f[k] = feature{known: true, z: 4 * atLimit,
					text: fmt.Sprintf("the unit's own code SPN %d FMI %d speaks of a circuit", f.SPN, f.FMI)}
			}
		}
	}
}
