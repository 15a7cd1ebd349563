package watch

import (
	"fmt"
	"math"
	"time"

	"holdfast/j1939/spn"
	quantity "holdfast/j1939/unit"
)

// Names of the checks of a unit, in the order they are told.
const (
	CheckPrime      = "prime"
	CheckPressure   = "pressure while dosing"
	CheckSag        = "pressure against dosing"
	CheckDrive      = "pump drive"
	CheckTrend      = "pump drive over time"
	CheckDosing     = "dosed quantity"
	CheckPurge      = "after-run purge"
	CheckSensor     = "pressure sensor"
	CheckConversion = "NOx conversion"
	CheckUnit       = "unit on the bus"

	CheckFaults = "fault codes" // of the vehicle
	checkBus    = "bus"
)

// onCoarse is said wherever the resolution of the standard's parameters bounds what can be known.
const onCoarse = "one step of SPN 4334 is 0.08 bar"

// judge answers every question about the unit.
func (u *unit) judge(a *account) []Finding {
	return []Finding{u.judgePrime(a), u.judgePressure(a), u.judgeSag(a), u.judgeDrive(a), u.judgeTrend(a),
		u.judgeDosing(a), u.judgePurge(a), u.judgeSensor(a), u.judgeConversion(a), u.judgeSilence(a)}
}

// has says whether a signal ever had a valid value.
func (u *unit) has(s Signal) bool {
	if s <= Integrator {
		for i := range u.stream.fields {
			if u.stream.fields[i].signal == s {
				return u.stream.values[i].counts[spn.Valid] > 0
			}
		}
		return false
	}
	bank := u.bank
	if s >= firstOfVehicle {
		bank = 0
	}
	return u.w.now[bank][s].from != nil
}

func (u *unit) lacks(check string, signals ...Signal) (Finding, bool) {
	for _, s := range signals {
		if !u.has(s) {
			return notSeen(check, fmt.Sprintf("%s (SPN %d) not seen on this bus: no valid value", s,
				followed[s].spn)), true
		}
	}
	return Finding{}, false
}

func (u *unit) judgePrime(a *account) Finding {
	if f, yes := u.lacks(CheckPrime, DoserPressure); yes {
		return f
	}
	if a.attempts == 0 {
		return notSeen(CheckPrime, "no priming was heard")
	}
	f := Finding{Check: CheckPrime, Level: OK, Times: a.attempts, Sure: onCoarse +
		", times to one message (50 ms)"}
	f.Seen = fmt.Sprintf("started %s, reached pressure %s", times(a.attempts), times(a.builtUp))
	if a.buildUp.n > 0 {
		f.Seen += fmt.Sprintf("; %s s from pump start to the pressure band, primed after %s s",
			reach(a.buildUp.min, a.buildUp.max, 1), reach(a.primeTime.min, a.primeTime.max, 1))
	}
	if a.failed > 0 {
		f = f.evidence(&a.failures)
		f.Level = Watch
		f.Seen += fmt.Sprintf("; %d did not reach it", a.failed)
		f.Look = "level and temperature of the tank, inlet filter and suction line, air at the suction " +
			"side; then the pump"
		if a.builtUp == 0 {
			f.Level = Act
		}
	} else if a.buildUp.max > buildUpSlow.Seconds() {
		f.Level = Watch
		f.Look = "inlet filter, suction line, air drawn in; a line emptied by the last purge takes longest"
	}
	return f
}

func (u *unit) judgePressure(a *account) Finding {
	if f, yes := u.lacks(CheckPressure, DoserPressure, DosingActual); yes {
		return f
	}
	if a.dosingKnown < bandEnough {
		return notSeen(CheckPressure, "dosed for "+spell(a.dosing)+" while listening: too short to judge")
	}
	o := &u.w.options
	share := 100 * a.inside.Seconds() / a.dosingKnown.Seconds()
	f := Finding{Check: CheckPressure, Level: OK, Sure: onCoarse + u.barometerWord()}
	f.Seen = fmt.Sprintf("%s %% of %s of dosing inside %s +/- %s bar; mean %s bar gauge, lowest %s",
		number(share, 1), spell(a.dosingKnown), number(o.Nominal, 1), number(o.Band, 1),
		number(a.gauge.mean(), 2), number(a.gauge.min, 2))
	f.Look = "main and inlet filter, air at the suction side, pump membrane and valves, the regulation; " +
		"prove it on the bench"
	if a.dips.n > 0 {
		f = f.evidence(&a.dips)
		f.Seen += fmt.Sprintf("; %s more than %s bar below nominal, %s in all, down to %s bar", times(a.dips.n),
			number(dipBelow, 0), spell(a.dips.total), number(a.dips.worst, 1))
	}
	switch {
	case share < insidePoor:
		f.Level = Act
	case share < insideEnough || a.dips.n > 0:
		f.Level = Watch
	default:
		f.Look = ""
	}
	return f
}

// barometerWord says what gauge pressure rests on.
func (u *unit) barometerWord() string {
	if _, heard := u.w.barometer(); heard {
		return "; air pressure from SPN 108"
	}
	return "; air pressure is not on this bus: 1.013 bar assumed, which may be 0.1 bar wrong near " +
		"sea level and more in the hills"
}

func (u *unit) judgeSag(a *account) Finding {
	if f, yes := u.lacks(CheckSag, DoserPressure, DosingActual); yes {
		return f
	}
	b, se, ok := a.sag.slope()
	reach := a.sag.maxX - a.sag.minX
	if !ok || a.sag.n < 300 || reach < 0.5 {
		return notSeen(CheckSag, "the dosing did not vary enough to tell")
	}
	// Neighbouring seconds depend on each other: the standard error is taken ten times as wide (one
	// independent look in 100 s).
	drop, uDrop := -b*reach, 2*10*se*reach
	f := Finding{Check: CheckSag, Level: OK, Sure: "U = " + number(uDrop, 2) + " bar (k = 2); " + onCoarse}
	f.Seen = fmt.Sprintf("%s bar lower at %s kg/h than at %s kg/h", number(drop, 2), number(a.sag.maxX, 1),
		number(a.sag.minX, 1))
	if drop-uDrop > sagMatters {
		f.Level = Watch
		f.Look = "main filter and line (a resistance between pump and dosing valve looks like this), pump " +
			"at the end of its reserve"
	}
	return f
}

func (u *unit) judgeDrive(a *account) Finding {
	if f, yes := u.lacks(CheckDrive, DoserPressure, PumpDrive); yes {
		return f
	}
	fit, ok := a.bins.fit()
	if !ok {
		return notSeen(CheckDrive, fmt.Sprintf("%d min at nominal pressure: too short to judge",
			len(a.bins.list)))
	}
	f := Finding{Check: CheckDrive, Level: OK}
	f.Seen = fmt.Sprintf("%s %% at nominal pressure without dosing, %s %% more for each kg/h; up to %s %% seen",
		number(fit.AtNoDosing, 1), number(fit.PerKgH, 1), number(a.bins.levels.max, 1))
	f.Sure = "U = " + number(fit.U, 1) + " % (k = 2)" + normalisedWord(fit)
	if fit.AtNoDosing-fit.U > driveWorn {
		f.Level = Watch
		f.Look = "little reserve left: pump, return restriction (eroded), internal leak, supply voltage " +
			"at the unit; the unit maker's figure decides"
	}
	return f
}

func normalisedWord(fit DriveFit) string {
	if fit.Normalised {
		return "; corrected to the nominal supply voltage"
	}
	return "; not corrected for supply voltage, which is not on this bus"
}

func (u *unit) judgeTrend(a *account) Finding {
	if f, yes := u.lacks(CheckTrend, DoserPressure, PumpDrive); yes {
		return f
	}
	fit, ok := a.bins.fit()
	if !ok || fit.Hours < 1 {
		return notSeen(CheckTrend, "less than an hour at nominal pressure")
	}
	f := Finding{Check: CheckTrend, Level: OK}
	f.Seen = fmt.Sprintf("%s %% of drive over %s at nominal pressure, corrected for dosing (now about %s %%)",
		quantity.Signed(fit.Change, 1), spell(time.Duration(fit.Hours*float64(time.Hour))),
		number(fit.AtNoDosing+fit.Change/2, 1))
	f.Sure = "U = " + number(fit.ChangeU, 1) + " % (k = 2), without the temperatures of pump and fluid" +
		normalisedWord(fit)
	if fit.Change-fit.ChangeU > trendMatters {
		f.Level = Watch
		f.Sure += "; the drive alone cannot tell a leak from wear"
		f.Look = "the pump works harder for the same pressure: internal leak (pump membrane), worn " +
			"pump, eroded return restriction; a leak-down test on the bench tells which"
	}
	if fit.Change+fit.ChangeU < -trendMatters {
		f.Level = Watch
		f.Look = "the pump works less for the same pressure: return restriction fouling, or a unit still " +
			"running in"
	}
	return f
}

func (u *unit) judgeDosing(a *account) Finding {
	if f, yes := u.lacks(CheckDosing, DosingActual); yes {
		return f
	}
	if a.actual < dosedEnough && a.requested < dosedEnough {
		return notSeen(CheckDosing, number(a.actual, 0)+" g dosed while listening: too little to compare")
	}
	f := Finding{Check: CheckDosing, Level: OK,
		Sure: "both figures are the unit's own: neither proves what left the valve; a scale on the bench does"}
	f.Seen = number(a.actual, 0) + " g by the dosing rate"
	compare := func(name string, v float64, known bool, base float64) {
		if !known || base < dosedEnough {
			return
		}
		off := 100 * (a.actual - v) / base
		f.Seen += fmt.Sprintf(", %s g %s (%s %%)", number(v, 0), name, quantity.Signed(off, 1))
		if math.Abs(off) > dosingWrong {
			f.Level = Watch
			f.Look = "dosing valve (partly blocked, crystals), pressure while dosing, faults that limit " +
				"the dosing"
		}
	}
	compare("requested", a.requested, a.requestKnown, a.requested)
	compare("by the integrator", a.integrated, a.integratorKnown, a.integrated)
	if !a.requestKnown {
		f.Seen += "; the requested quantity (SPN 4348) is not on this bus"
	}
	return f
}
