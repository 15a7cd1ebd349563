package watch

import (
	"time"

	"holdfast/j1939/clock"
)

// primeState follows one attempt to fill the line and bring it to pressure.
type primeState struct {
	began  clock.Instant // 0: none under way
	primed clock.Instant
	built  bool // the line has been at pressure since the last purge
}

// primeStep: an attempt begins when the pump starts into an empty line (or, where the pump's drive is not
// on this bus, when the unit says that it primes) and ends at nominal pressure, when the pump stops, or
// when the unit gives up.
func (u *unit) primeStep(t clock.Instant) {
	p := &u.prime
	pumping := u.driveOK && u.drive >= pumpRuns && !u.energised()
	if p.began == 0 {
		starts := pumping && u.state != statePurging && u.state != stateShutoff ||
			!u.driveOK && u.stateOK && u.state == statePriming
		if starts && u.gaugeOK && u.gauge < primedAt {
			*p = primeState{began: t}
			u.tell(Event{At: t, Kind: "prime-begins", Text: "priming begins"})
		}
		return
	}
	switch {
	case u.gaugeOK && u.gauge >= u.w.options.Nominal-u.w.options.Band:
		u.builtUp(t)
	case u.gaugeOK && u.gauge >= primedAt && p.primed == 0:
		p.primed = t
	case u.gaugeOK && u.gauge < primedAt && p.primed != 0 && t.Sub(p.primed) < time.Second/2:
		p.primed = 0
	case u.driveOK && u.drive < pumpStands, t.Sub(p.began) > primeGiveUp,
		u.stateOK && u.state != statePriming && u.state != statePreparing && u.state != stateDosing:
		u.primeFailed(t)
	}
}

func (u *unit) energised() bool { return u.valveOK && u.valve > valveEnergised }

func (u *unit) builtUp(t clock.Instant) {
	p := &u.prime
	if p.primed == 0 {
		p.primed = t
	}
	prime, build := p.primed.Seconds(p.began), t.Seconds(p.began)
	for _, a := range u.accounts() {
		a.attempts++
		a.primed++
		a.builtUp++
		a.primeTime.add(prime)
		a.buildUp.add(build)
	}
	*p = primeState{built: true}
	u.tell(Event{At: t, Kind: "primed", For: clock.Instant(build * 1e9).Sub(0),
		Text: "at pressure " + number(build, 1) + " s after the pump started (primed after " + number(prime,
			1) + " s)"})
}

func (u *unit) primeFailed(t clock.Instant) {
	p := &u.prime
	took := t.Sub(p.began)
	for _, a := range u.accounts() {
		a.attempts++
		if p.primed != 0 {
			a.primed++
			a.primeTime.add(p.primed.Seconds(p.began))
		}
		a.failed++
		a.failures.add(t, took, u.gauge)
	}
	*p = primeState{}
	u.tell(Event{At: t, Kind: "prime-failed", For: took, Level: Watch,
		Text: "priming ended after " + spell(took) + " without reaching the pressure band; last " +
			number(u.gauge, 1) + " bar gauge"})
}

// endPrime ends an attempt that the trip's end leaves open: it says nothing of the unit.
func (u *unit) endPrime(clock.Instant, End) { u.prime = primeState{} }
