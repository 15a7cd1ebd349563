package watch

import (
	"fmt"
	"math"
)

func (u *unit) judgePurge(a *account) Finding {
	n := &a.purges
	if f, yes := u.lacks(CheckPurge, DoserPressure); yes {
		return f
	}
	if n.needed == 0 {
		return notSeen(CheckPurge, "no key-off was heard after the line had been under pressure")
	}
	f := Finding{Check: CheckPurge, Level: OK, Times: n.cut}
	f.Seen = fmt.Sprintf("needed %s: %d completed, %d cut short", times(n.needed), n.completed, n.cut)
	if n.restarted > 0 {
		f.Seen += fmt.Sprintf(", %d given up because the engine was wanted again", n.restarted)
	}
	if n.unknown > 0 {
		f.Seen += fmt.Sprintf(", %d not known", n.unknown)
	}
	if a.purgeTime.n > 0 {
		f.Seen += fmt.Sprintf("; it took %s s", reach(a.purgeTime.min, a.purgeTime.max, 0))
	}
	if n.cut == 0 {
		if n.completed == 0 {
			f.Level = NotSeen
		}
		return f
	}
	f = f.evidence(&a.cut)
	f.Seen += "; last: " + a.cutText
	f.Level = Watch
	f.Look = "the battery switch thrown before the after-run has ended is the usual reason for crystals " +
		"(common practice, no source): ask the driver; then supply and wiring of the unit"
	f.Sure = "a bus that goes silent is also a pulled connector or a recorder that lost its supply"
	if n.cut >= 3 && n.completed == 0 {
		f.Sure += "; every after-run looks like this, so the bus may simply sleep before the purge ends"
		return f
	}
	if n.cut >= 2 {
		f.Level = Act
	}
	return f
}

func (u *unit) judgeSensor(a *account) Finding {
	if s := &a.dropouts; s.n > 0 {
		f := Finding{Check: CheckSensor, Level: Act, Sure: "counted while the unit was at work only; " +
			onCoarse}.evidence(s)
		f.Seen = fmt.Sprintf("reading lost %s (error indicator, or a pressure below any air), %s in all, "+
			"longest %s",
			times(s.n), spell(s.total), spell(s.longest))
		f.Look = "supply and wiring of the pressure sensor first, connector and tracks inside the unit; " +
			"the sensor last"
		return f
	}
	if f, yes := u.deadSensor(a); yes {
		return f
	}
	if s := &a.pinned; s.n > 0 {
		f := Finding{Check: CheckSensor, Level: Act, Sure: onCoarse}.evidence(s)
		f.Seen = fmt.Sprintf("the same reading (%s bar gauge) with the pump stopped and running, %s",
			number(s.worst, 2), times(s.n))
		f.Look = "supply of the pressure sensor and its signal wire; the sensor last"
		return f
	}
	f := Finding{Check: CheckSensor, Level: OK, Sure: onCoarse}
	f.Seen = "no lost reading while the unit was at work"
	if a.heard-a.states[stateDormant]-a.states[statePowerDown] < bandEnough {
		return notSeen(CheckSensor, "the unit was hardly awake while listening")
	}
	if a.zero.n > 0 {
		mean := a.zero.mean()
		f.Seen += "; " + number(mean, 2) + " bar gauge before the pump had run"
		f.Sure = "U = 0.1 bar (k = 2): a step of 8 kPa, a barometer at 0.5 kPa a step"
		if math.Abs(mean)-0.1 > zeroWrong {
			f.Level = Watch
			f.Look = "a line still under pressure from the last trip, or a sensor that reads wrong at " +
				"zero: read a gauge at the line"
		}
	}
	return f
}

// deadSensor answers where no reading was ever a possible pressure.
func (u *unit) deadSensor(a *account) (Finding, bool) {
	if a.plausible {
		return Finding{}, false
	}
	f, absent := u.lacks(CheckSensor, DoserPressure)
	switch v := &u.stream.values[u.field[0]]; {
	case !absent:
		f = notSeen(CheckSensor, "the reading was never a possible pressure (below "+
			number(impossibleKPa, 0)+" kPa absolute throughout)")
	case v.counts[statusError] > 0:
		f.Seen += ": error indicator only"
	default:
		return f, true
	}
	if a.dead >= bandEnough {
		f.Level = Act
		f.Seen += ", with the unit at work for " + spell(a.dead)
		f.Look = "supply and wiring of the pressure sensor first; the sensor last"
		f.Sure = "a sender that has no such sensor looks the same"
	}
	return f, true
}

// conversion is the share of NOx that the catalyst took away, with its expanded uncertainty: each sensor
// +/-10 % and +/-10 ppm (common practice, no source).
func (a *account) conversion() (percent, expanded float64, ok bool) {
	if a.conversionTime < noxEnough || a.noxIn == 0 {
		return 0, 0, false
	}
	ratio := a.noxOut / a.noxIn
	meanIn := a.noxIn / a.conversionTime.Seconds()
	return 100 * (1 - ratio), 100 * math.Hypot(math.Sqrt2*0.1*ratio, 10/meanIn), true
}

func (u *unit) judgeConversion(a *account) Finding {
	if f, yes := u.lacks(CheckConversion, NOxBefore, NOxAfter, DosingActual); yes {
		return f
	}
	c, expanded, ok := a.conversion()
	if !ok {
		return notSeen(CheckConversion, spell(a.conversionTime)+
			" with steady dosing, a hot catalyst and both NOx sensors measuring: too short to judge")
	}
	f := Finding{Check: CheckConversion, Level: OK,
		Seen: fmt.Sprintf("%s %% over %s of steady dosing", number(c, 0), spell(a.conversionTime)),
		Sure: "U = " + number(expanded, 0) + " % (k = 2), sensors +/-10 % each; only a plausibility of " +
			"the dosing"}
	if !a.scrKnown {
		f.Sure += "; the catalyst's temperature is not on this bus"
	}
	if c+expanded < conversionLow {
		f.Level = Watch
		f.Look = "quality of the fluid, crystals at the dosing valve and in the exhaust, dosed quantity on a " +
			"scale, NOx sensors, catalyst: the bus does not tell which"
	}
	return f
}

func (u *unit) judgeSilence(a *account) Finding {
	f := Finding{Check: CheckUnit, Level: OK, Seen: "heard for " + spell(a.heard)}
	if a == &u.total && a.heard < u.w.Heard()*9/10 && len(u.w.trips) < 2 {
		f.Seen += " of " + spell(u.w.Heard())
	}
	if s := &a.silences; s.n > 0 {
		f = f.evidence(s)
		f.Level = Watch
		f.Seen += fmt.Sprintf("; silent %s for up to %s while others went on", times(s.n), spell(s.longest))
		f.Look = "supply, ground and bus wiring of the unit's controller"
	}
	return f
}
