package watch

import "holdfast/j1939/clock"

// afterRun follows the emptying of the line at key-off.
type afterRun struct {
	pressurised bool          // the line holds fluid that must be sucked back
	began       clock.Instant // of the purge under way; 0: none
}

// purgeStep: the purge is under way while the unit says so (state 4) or the valve that turns the flow round
// is energised.
func (u *unit) purgeStep(t clock.Instant) {
	p := &u.after
	if u.gaugeOK && u.gauge >= primedAt && !u.energised() {
		p.pressurised = true
	}
	purging := u.stateOK && u.state == statePurging || u.energised()
	switch {
	case purging && p.began == 0 && p.pressurised:
		p.began = t
		u.tell(Event{At: t, Kind: "purge-begins", Text: "purge begins"})
	case !purging && p.began != 0:
		u.purgeEnds(t)
	}
}

// purgeEnds: the unit left the purge by itself, with the line empty, with the line still under
// pressure, or because it was wanted again.
func (u *unit) purgeEnds(t clock.Instant) {
	p := &u.after
	took := t.Sub(p.began)
	wanted := u.stateOK && (u.state == statePreparing || u.state == statePriming || u.state == stateDosing)
	switch {
	case wanted:
		for _, a := range u.accounts() {
			a.purges.needed++
			a.purges.restarted++
			a.restarted.add(p.began, took, 0)
		}
		u.tell(Event{At: t, Kind: "purge-restart", For: took, Text: "purge given up after " + spell(took) +
			": wanted again"})
	case u.gaugeOK && u.gauge > emptyBelow:
		u.cutShort(t, "the unit left the purge after "+spell(took)+" with "+number(u.gauge,
			1)+" bar gauge in the line")
	default:
		for _, a := range u.accounts() {
			a.purges.needed++
			a.purges.completed++
			a.purgeTime.add(took.Seconds())
		}
		u.tell(Event{At: t, Kind: "purge-completed", For: took, Text: "purge completed in " + spell(took)})
	}
	*p = afterRun{}
	u.prime.built = false
}

func (u *unit) cutShort(t clock.Instant, how string) {
	for _, a := range u.accounts() {
		a.purges.needed++
		a.purges.cut++
		a.cut.add(t, 0, 0)
		a.cutText = how
	}
	u.tell(Event{At: t, Kind: "purge-cut", Level: Watch, Text: "purge cut short: " + how})
}

// endAfterRun judges a purge that the end of the trip leaves open.
func (u *unit) endAfterRun(why End) {
	p := u.after
	u.after = afterRun{}
	if !p.pressurised {
		return
	}
	t := u.last
	followed := u.stateOK || u.valveOK
	switch {
	case why == endKey && p.began != 0:
		for _, a := range u.accounts() {
			a.purges.needed++
			a.purges.restarted++
			a.restarted.add(p.began, t.Sub(p.began), 0)
		}
	case why == endKey: // on again before the after-run: the line stays as it is
	case why != endSilent || u.w.vehicle.running || !followed || p.began == 0 && !u.w.engineKnown():
		for _, a := range u.accounts() {
			a.purges.needed++
			a.purges.unknown++
			a.unknown.add(t, 0, 0)
		}
		u.tell(Event{At: t, Kind: "purge-unknown", Text: "whether the line was emptied is not known: " +
			u.unknownWhy(why)})
	case p.began != 0:
		u.cutShort(t, "the bus went silent "+spell(t.Sub(p.began))+" into the purge"+u.leftIn())
	default:
		u.cutShort(t, "the bus went silent before a purge was seen"+u.leftIn())
	}
}

func (w *Watcher) engineKnown() bool { return w.now[0][EngineSpeed].from != nil }

func (u *unit) unknownWhy(why End) string {
	switch {
	case why != endSilent:
		return string(why)
	case !u.w.engineKnown():
		return "the bus went silent, and whether the engine stood is not on this bus"
	case u.w.vehicle.running:
		return "the bus went silent with the engine running (connector or recorder?)"
	default:
		return "neither the dosing state nor the diverter valve is on this bus"
	}
}

func (u *unit) leftIn() string {
	if !u.gaugeOK {
		return ""
	}
	return ", at " + number(u.gauge, 1) + " bar gauge"
}
