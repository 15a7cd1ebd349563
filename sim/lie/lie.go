package lie

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// Lie is one lie of one signal.
type Lie struct {
	Signal *Signal
	Kind   *Kind
	Other  *Signal       // of a kind that names another signal
	Size   float64       // in what Kind.Size says; % as a number of percent
	Sized  bool          // a size was given
	Span   time.Duration // the size of a kind that is given as a time
	From   time.Duration // since the start of the run
	To     time.Duration // 0: to the end
	Text   string        // as it was typed, or as a person can type it again
}

// on reports whether the lie is told at a time since the start.
func (l *Lie) on(at time.Duration) bool { return at >= l.From && (l.To == 0 || at < l.To) }

// active is a lie with what it remembers. It listens all the time, told or not.
type active struct {
	Lie
	rng *rand.Rand

	heard      bool
	last       clock.Instant // of the last reading
	held       float64       // the last reading before it began
	play       float64       // of hysteresis
	lagged     float64
	message    einride.Data // the last data before it began
	spoken     bool
	otherLast  float64
	otherHeard bool
}

func (a *active) chance() bool { return a.rng.Float64()*100 < a.Size }

// passing is a frame on its way, with what happens to it as a whole.
type passing struct {
	frame  can.Frame
	delay  time.Duration
	copies int
}

// Liar stands between a bench and a harness. Not for use by two goroutines at once.
type Liar struct {
	start  clock.Instant
	lies   []*active
	toBus  lane // frames of the bench
	toNode lane // frames of the harness
}

// New returns a liar that tells lies from a start time on. A swap is told on both signals.
func New(lies []Lie, start clock.Instant, seed uint64) *Liar {
	l := &Liar{start: start}
	for i, told := range lies {
		l.add(told, seed, i)
		if told.Other != nil {
			told.Signal, told.Other = told.Other, told.Signal
			l.add(told, seed, i)
		}
	}
	return l
}

func (l *Liar) add(told Lie, seed uint64, i int) {
	const stream = 0x6c696573
	l.lies = append(l.lies, &active{Lie: told, rng: rand.New(rand.NewPCG(seed, stream+uint64(i)))})
}

// pass puts a frame with its time through all lies and into the lane of its direction.
func (l *Liar) pass(f *can.Frame, command bool) {
	m := passing{frame: *f, copies: 1}
	at := f.Time.Sub(l.start)
	if !f.Error {
		for _, a := range l.lies {
			a.listen(f, at)
		}
		for _, a := range l.lies {
			if a.Signal.Command == command && a.on(at) && a.Signal.in(&m.frame.Frame) {
				a.tell(&m, at)
			}
		}
	}
	lane := &l.toBus
	if command {
		lane = &l.toNode
	}
	m.frame.Time = f.Time.Add(m.delay)
	for range m.copies {
		lane.put(m.frame)
	}
}

// listen takes in the true reading of a frame.
func (a *active) listen(f *can.Frame, at time.Duration) {
	if a.Other != nil && a.Other.in(&f.Frame) {
		if v, ok := a.Other.read(&f.Frame); ok {
			a.otherLast, a.otherHeard = v, true
		}
	}
	if !a.Signal.in(&f.Frame) {
		return
	}
	if !a.on(at) || !a.spoken {
		a.message, a.spoken = f.Data, true
	}
	v, ok := a.Signal.read(&f.Frame)
	if !ok {
		return
	}
	if !a.heard {
		a.heard, a.held, a.play, a.lagged = true, v, v, v
	}
	if !a.on(at) {
		a.held = v
	}
	a.play = min(max(a.play, v-a.Size/2), v+a.Size/2)
	if a.Span > 0 {
		a.lagged += (v - a.lagged) * -math.Expm1(-f.Time.Seconds(a.last)/a.Span.Seconds())
	}
	a.last = f.Time
}

// tell changes a frame. Indicators stay what they are: only a number can be a wrong one.
func (a *active) tell(m *passing, at time.Duration) {
	if a.Kind.message != nil {
		a.Kind.message(a, m)
		return
	}
	if v, ok := a.Signal.read(&m.frame.Frame); ok {
		a.Signal.write(&m.frame.Frame, a.Kind.value(a, v, at-a.From))
	}
}

// lane is frames on their way in one direction, by the time at which they arrive.
type lane struct{ waiting []can.Frame }

func (l *lane) put(f can.Frame) {
	i := len(l.waiting)
	for i > 0 && l.waiting[i-1].Time > f.Time {
		i--
	}
	l.waiting = slices.Insert(l.waiting, i, f)
}

// next is when the first of them arrives; clock.Never when there is none.
func (l *lane) next() clock.Instant {
	if len(l.waiting) == 0 {
		return clock.Never
	}
	return l.waiting[0].Time
}

// take moves at most len(dst) frames that have arrived by now into dst.
func (l *lane) take(now clock.Instant, dst []can.Frame) int {
	n := 0
	for n < len(dst) && n < len(l.waiting) && l.waiting[n].Time <= now {
		dst[n] = l.waiting[n]
		n++
	}
	l.waiting = slices.Delete(l.waiting, 0, n)
	return n
}
