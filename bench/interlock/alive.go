package interlock

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"holdfast/bench/rig"
	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

// An instrument with noise hardly ever says the same twice in a row. How seldom follows from its noise and its
// resolution, which are taken while everything is at rest (the vent step, and the seconds before it). Readings that
// repeat for longer than chance can explain are frozen: the node sends what it once read.
const (
	leastMessage  = 5  // repeats before a whole message can count as frozen
	leastGauge    = 10 // before one gauge alone can, while the pump turns
	leastPairs    = 20 // readings at rest before their noise is known
	enoughPairs   = 2000
	chanceOf      = 23.0 // -ln of the chance that a healthy instrument repeats for so long: 1e-10
	noiseMargin   = 1.3  // what a repeat may be likelier by than the noise at rest says
	stillFrom     = 0.9  // above this share of repeats the noise is below the resolution, and a repeat says nothing
	leastNoise    = 1.2  // of a step; below it a reading flickers at the edge of a step and is still between two edges
	regulatedLong = 3 * time.Second
	spinUp        = 300 * time.Millisecond // a pump that was just started may not turn yet
	neverMoved    = 500 * time.Millisecond // into the pump's turning: a message that has never changed by then is frozen
)

// noise is what is known of one channel's noise at rest.
type noise struct {
	pairs, equal int
	squares      float64 // of the differences of neighbours
}

func (n *noise) note(d float64) {
	if n.pairs >= enoughPairs {
		return
	}
	if n.pairs >= leastPairs && d*d > 64*n.squares/float64(n.pairs) && n.squares > 0 {
		return // a valve was switched: that is no noise
	}
	n.pairs++
	n.squares += d * d
	if d == 0 {
		n.equal++
	}
}

// repeats is the chance that a reading repeats the one before; 1 while it is not known.
func (n *noise) repeats(resolution float64) float64 {
	if n.pairs < leastPairs || n.squares == 0 {
		return 1
	}
	sigma := math.Sqrt(n.squares / float64(n.pairs)) // of the difference of two readings
	if sigma < leastNoise*resolution {
		return 1
	}
	q := resolution / (sigma * math.Sqrt(2*math.Pi)) // density of the difference at 0, over one step
	if n.equal >= 3 {
		q = max(q, float64(n.equal)/float64(n.pairs))
	}
	return min(noiseMargin*q, 1)
}

// patience is how many repeats in a row chance explains; 0: any number.
func patience(q float64, least int) int {
	if q > stillFrom {
		return 0
	}
	return max(least, int(math.Ceil(chanceOf/-math.Log(max(q, 1e-12)))))
}

// message is the measured channels that one message carries.
type message struct {
	name     string
	channels []rig.Channel
	fine     bool // it carries a pressure of fine resolution
	time     clock.Instant
	heard    int // channels of the message now being heard
	same     int // of these, how many repeat
	repeats  int
	since    clock.Instant // of the message that is being repeated
	count    int
	changed  bool // it has changed since the run began
}

// finePressure is the resolution (bar) up to which a pressure that rises can be seen to rise at once.
const finePressure = 0.01

// messagesOf groups the measured channels by the message that carries them.
func messagesOf(r *rig.Rig) (all []*message, of [rig.NumChannels]*message) {
	byID := map[uint32]*message{}
	for _, in := range r.Channels {
		if in == nil || in.Channel.IsState() {
			continue
		}
		id := uint32(in.Signal.ID)
		m := byID[id]
		if m == nil {
			name, _, _ := strings.Cut(in.Signal.Name, ".")
			m = &message{name: name}
			byID[id], all = m, append(all, m)
		}
		m.channels = append(m.channels, in.Channel)
		m.fine = m.fine || isPressure(in.Channel) && in.Resolution <= finePressure
		of[in.Channel] = m
	}
	return all, of
}

func isPressure(c rig.Channel) bool { return c == rig.LinePressure || c == rig.ReferencePressure }

// checkAlive looks whether a reading repeats the one before it, by itself and with its whole message.
func (s *Supervisor) checkAlive(before, r rig.Reading) {
	if r.Channel.IsState() || s.channels[r.Channel] == nil {
		return
	}
	same := before.Time != 0 && before.Status == r.Status && before.Value == r.Value
	if before.Status == spn.Valid && r.Status == spn.Valid && s.atRest(r.Time) {
		s.noise[r.Channel].note(r.Value - before.Value)
	}
	a := &s.gauges[r.Channel]
	switch {
	case !same:
		*a = gauge{since: r.Time, moved: a.moved || before.Status == spn.Valid && r.Status == spn.Valid}
	case r.Status == spn.Valid:
		a.repeats++
	}
	if isPressure(r.Channel) && r.Status == spn.Valid {
		s.checkGauge(r)
	}
	if m := s.messages[r.Channel]; m != nil {
		s.checkMessage(m, r, same)
	}
}

// checkMessage counts how often a message has been repeated bit for bit.
func (s *Supervisor) checkMessage(m *message, r rig.Reading, same bool) {
	if m.time != r.Time {
		m.time, m.heard, m.same = r.Time, 0, 0
	}
	m.heard++
	if same {
		m.same++
	}
	if m.heard < len(m.channels) {
		return
	}
	m.count++
	if m.same < len(m.channels) {
		m.changed = m.changed || m.count > 1
		m.repeats, m.since = 0, r.Time
		return
	}
	m.repeats++
	chance := 1.0
	for _, c := range m.channels {
		chance *= s.repeats(c)
	}
	limit := patience(chance, leastMessage)
	never := m.fine && !m.changed && m.count > 100 && s.turning(r.Time) > neverMoved
	if limit > 0 && m.repeats >= limit || never {
		s.frozen(r.Time, m.channels, fmt.Sprintf("%s has said the same %d times in a row (%s)", m.name, m.repeats+1,
			names(m.channels)), fmt.Sprintf("at most %d repeats, by the noise at rest", max(limit, leastMessage)))
	}
}

// repeats is the chance that a channel repeats its last reading; 1 where its noise says nothing of that. A pressure in
// coarse steps can be noisy while the line is vented and stand still for 15 s while it fills, on a healthy unit: it is
// judged only while the pressure is regulated.
func (s *Supervisor) repeats(c rig.Channel) float64 {
	in := s.channels[c]
	if isPressure(c) && in.Resolution > finePressure {
		return 1
	}
	return s.noise[c].repeats(in.Resolution)
}

// gauge is how long one channel has repeated itself.
type gauge struct {
	repeats int
	since   clock.Instant // the first of the readings that are alike
	moved   bool          // it has changed before
	other   float64       // what the other gauge read then, bar
	known   bool
}

// checkGauge looks whether one gauge alone stands still while the pump turns. The unit's own sensor that has been still
// from the beginning is a unit's fault, which is measured and not tripped on: the bench's gauge guards the pressure.
func (s *Supervisor) checkGauge(r rig.Reading) {
	a := &s.gauges[r.Channel]
	in := s.channels[r.Channel]
	other := s.last[rig.LinePressure+rig.ReferencePressure-r.Channel]
	if !a.known && a.repeats > 0 && other.Status == spn.Valid && other.Time != 0 { // both have moved by then
		a.other, a.known = other.Value, true
	}
	turning := s.turning(r.Time)
	if turning <= spinUp {
		return
	}
	limit := patience(s.repeats(r.Channel), leastGauge)
	if a.repeats < leastGauge {
		return
	}
	still := func() string {
		return fmt.Sprintf("%s has read %.3f bar for %.3g s while the pump turns", r.Channel, r.Value,
			r.Time.Sub(a.since).Seconds())
	}
	switch {
	case limit > 0 && a.repeats >= limit:
		s.frozen(r.Time, []rig.Channel{r.Channel}, still(), fmt.Sprintf("at most %d repeats, by its noise at rest", limit))
	case limit == 0 && s.regulated && a.moved &&
		r.Time.Sub(max(a.since, s.regulatedSince)) > regulatedLong:
		s.frozen(r.Time, []rig.Channel{r.Channel}, still(), fmt.Sprintf("at most %.3g s while the pressure is regulated",
			regulatedLong.Seconds()))
	case limit == 0 && !in.PartOfUnit && a.known && other.Status == spn.Valid &&
		math.Abs(other.Value-a.other) > s.apart(r, other):
		s.frozen(r.Time, []rig.Channel{r.Channel}, fmt.Sprintf("%s, and %s has gone from %.2f to %.2f bar", still(), other.Channel,
			a.other, other.Value), "two gauges on one line move together")
	}
}

// apart is by how much one gauge may move while the other stands still, bar.
func (s *Supervisor) apart(a, b rig.Reading) float64 {
	ia, ib := s.channels[a.Channel], s.channels[b.Channel]
	return 0.3 + 2*(ia.Resolution+ib.Resolution) + ia.Accuracy.At(a.Value) + ib.Accuracy.At(b.Value)
}

// frozen latches the trip and marks what is no longer believed.
func (s *Supervisor) frozen(now clock.Instant, channels []rig.Channel, reading, limit string) {
	for _, c := range channels {
		s.doubted[c] = true
	}
	s.latch(Trip{Bench: true, Time: now, Name: "frozen", Reading: reading, Limit: limit,
		Next: "the node repeats an old reading: restart it, look at the instrument's cable, then read the gauge itself before " +
			"you open anything"})
}

func names(channels []rig.Channel) string {
	all := make([]string, len(channels))
	for i, c := range channels {
		all[i] = c.String()
	}
	return strings.Join(all, ", ")
}

// Doubted reports whether a channel's readings are no longer believed: frozen, or not possible.
func (s *Supervisor) Doubted(c rig.Channel) bool { return s.doubted[c] }

// CanFreezeUnseen reports whether a rig's pressure could stand still without being seen everywhere: a single gauge in
// steps so coarse that a healthy reading repeats. It is then judged only while the pressure is regulated.
func CanFreezeUnseen(r *rig.Rig) bool {
	return !slices.ContainsFunc([]rig.Channel{rig.LinePressure, rig.ReferencePressure}, func(c rig.Channel) bool {
		return r.Channels[c] != nil && r.Channels[c].Resolution <= finePressure
	})
}
