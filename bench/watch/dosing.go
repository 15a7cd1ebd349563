package watch

import (
	"time"

	"holdfast/j1939/clock"
)

// dipState follows one loss of pressure while dosing.
type dipState struct {
	began clock.Instant
	worst float64
}

// dosingNow says that fluid is being dosed in ordinary operation.
func (u *unit) dosingNow() bool {
	return u.doseOK && u.dose > 0 && (!u.stateOK || u.state == stateDosing || u.state == stateService)
}

func (u *unit) dosingStep(t clock.Instant, dt time.Duration) {
	u.quantities(dt)
	if !u.dosingNow() {
		u.endDip(t)
		return
	}
	o := &u.w.options
	off := u.gauge - o.Nominal
	for _, a := range u.accounts() {
		a.dosing += dt
		if !u.gaugeOK {
			continue
		}
		a.dosingKnown += dt
		switch {
		case off < -o.Band:
			a.below += dt
		case off > o.Band:
			a.above += dt
		default:
			a.inside += dt
		}
	}
	switch {
	case !u.gaugeOK || off >= -dipBelow || !u.prime.built:
		u.endDip(t)
	case u.dip.began == 0:
		u.dip = dipState{t, u.gauge}
	default:
		u.dip.worst = min(u.dip.worst, u.gauge)
	}
}

func (u *unit) endDip(t clock.Instant) {
	if u.dip.began == 0 {
		return
	}
	d := u.dip
	u.dip = dipState{}
	if lasted := t.Sub(d.began); lasted >= dipFor {
		for _, a := range u.accounts() {
			a.dips.add(d.began, lasted, d.worst)
		}
		u.tell(Event{At: d.began, Kind: "dip", For: lasted, Level: Watch,
			Text: "pressure down to " + number(d.worst, 1) + " bar gauge for " + spell(lasted) +
				" while dosing"})
	}
}

// quantities adds up what was dosed, asked for and counted by the unit itself.
func (u *unit) quantities(dt time.Duration) {
	hours := dt.Hours()
	grams, ok := u.stream.value(u.field[3])
	counted := 0.0
	if ok && u.gramOK {
		counted = countedUp(u.grams, grams)
	}
	for _, a := range u.accounts() {
		if u.doseOK {
			a.actualKnown = true
			a.actual += u.dose * hours
		}
		if u.requestOK && u.doseOK {
			a.requestKnown = true
			a.requested += u.requested * hours
		}
		if ok {
			a.integratorKnown = true
			a.integrated += counted
		}
	}
	u.grams, u.gramOK = grams, ok
}

// integratorFull is the last valid value of SPN 4333 and 4386, g: it then begins at 0 again (from memory).
const integratorFull = 6425.5

// countedUp is the rise of the integrator: over its end, or from 0 after it was reset.
func countedUp(before, now float64) float64 {
	switch {
	case now >= before:
		return now - before
	case before > integratorFull-200 && now < 200:
		return now + integratorFull - before
	default:
		return now
	}
}

// noxState follows how long it has been dosed on end.
type noxState struct{ dosingSince clock.Instant }

// sample looks at what changes slowly, once a second.
func (u *unit) sample(t clock.Instant) {
	u.holdSample(t)
	u.noxSample(t)
	if !u.prime.built || !u.gaugeOK || !u.dosingNow() || u.energised() {
		return
	}
	for _, a := range u.accounts() {
		a.gauge.add(u.gauge)
		a.sag.add(u.dose/1000, u.gauge)
	}
}

// noxSample adds up NOx on both sides of the catalyst where they may be compared: dosing on end for a
// minute, the catalyst hot (where its temperature is heard), both sensors heated and inside their range.
func (u *unit) noxSample(t clock.Instant) {
	n := &u.nox
	if !u.dosingNow() {
		n.dosingSince = 0
		return
	}
	if n.dosingSince == 0 {
		n.dosingSince = t
	}
	now := &u.w.now[u.bank]
	before, after := &now[NOxBefore], &now[NOxAfter]
	fresh := clock.Instant(2 * time.Second)
	if t.Sub(n.dosingSince) < time.Minute || !before.fresh(t, fresh) || !after.fresh(t, fresh) ||
		before.value < noxMin || heaterOff(&now[NOxBeforeHeater]) || heaterOff(&now[NOxAfterHeater]) ||
		after.value >= 3000 { // the end of the range (3012.75 ppm) is sent by sensors that do not measure
		return
	}
	scr := &now[SCRIntake]
	if !scr.fresh(t, clock.Instant(freshFor)) {
		scr = &now[SCROutlet]
	}
	known := scr.fresh(t, clock.Instant(freshFor))
	if known && scr.value < scrHot {
		return
	}
	for _, a := range u.accounts() {
		a.scrKnown = a.scrKnown || known
		a.conversionTime += time.Second
		a.noxIn += before.value
		a.noxOut += max(0, after.value)
	}
}

// heaterOff reads SPN 3223 and 3233: state 3 is "heater off".
func heaterOff(c *current) bool { return c.from != nil && c.status == statusValid && c.value == 3 }
