package vehicle

import (
	"io"
	"math/rand/v2"
	"slices"
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// Truth is what really happened.
type Truth struct {
	Trips     int
	Completed []clock.Instant // purges that emptied the line: when the unit said it may power down
	Cut       []clock.Instant // after-runs cut short: when the switch was thrown
	Dropouts  []clock.Instant // begin of each loss of the sensor's supply
	Primes    int             // attempts
	Leak      float64         // mL/min at 9 bar at the end
	Grams     float64         // dosed
	Km        float64
}

// Vehicle is the simulated vehicle. It is not safe for use by several goroutines.
type Vehicle struct {
	options Options
	random  *rand.Rand
	streams []*stream // a heap by next
	legs    []Leg

	leg      int // index of the leg that goes on
	keyOn    clock.Instant
	throwAt  clock.Instant // battery switch; Never
	sleepAt  clock.Instant // the bus falls asleep; Never while not known
	now      clock.Instant
	received uint64

	engine   engine
	unit     unit
	episodes episodes
	truth    Truth
	stuck    float64
	stuckSet bool
	pending  []script // of BAM
}

var (
	_ can.Source  = (*Vehicle)(nil)
	_ can.Process = (*Vehicle)(nil)
)

// New makes a vehicle. The error says which fault or leg is wrong.
func New(o Options) (*Vehicle, error) {
	if err := o.check(); err != nil {
		return nil, err
	}
	if o.Day == nil {
		o.Day = TenHours()
	}
	if o.BitRate == 0 {
		o.BitRate = 250_000
	}
	v := &Vehicle{options: o, legs: o.Day, random: rand.New(rand.NewPCG(o.Seed, 0x7472756B)), now: o.Start}
	v.engine = engine{catalyst: 20, outlet: 20, hours: 18400}
	v.unit = unit{fault: v.fault, volts: 24}
	v.episodes = v.plan()
	v.streams = v.traffic()
	v.begin(o.Start)
	return v, nil
}

func (v *Vehicle) fault(name string) float64 { return v.options.Faults[name] }

// Truth tells what has happened so far.
func (v *Vehicle) Truth() Truth { return v.truth }

// begin is key-on of the leg v.leg.
func (v *Vehicle) begin(t clock.Instant) {
	v.keyOn, v.throwAt, v.sleepAt = t, clock.Never, clock.Never
	v.truth.Trips++
	if v.cutsLeg(v.leg) {
		after := 5 + time.Duration(v.random.IntN(14)) // s after key-off: 2 to 16 s into the purge
		v.throwAt = t.Add(v.legs[v.leg].Key + after*time.Second)
	}
	v.engine.until, v.engine.running = 0, false
	v.unit.enter(dormant)
	v.unit.attempts, v.unit.emptied = 0, false
	v.unit.drive, v.unit.pressure, v.unit.valve = 0, 0, false
	for i, s := range v.streams {
		s.next = t.Add(time.Duration(i)*617*time.Microsecond + time.Millisecond)
		if s.period >= time.Second {
			s.next = s.next.Add(time.Duration(i%10) * 90 * time.Millisecond)
		}
	}
	heapify(v.streams)
}

// cutsLeg spreads the cut after-runs over the day: every other leg first.
func (v *Vehicle) cutsLeg(leg int) bool {
	order := leg / 2
	if leg%2 == 1 {
		order += (len(v.legs) + 1) / 2
	}
	return order < int(v.fault(PurgeCut))
}

func (v *Vehicle) key(t clock.Instant) bool { return t.Sub(v.keyOn) < v.legs[v.leg].Key }

// advance takes the next frame's stream, or moves on to the next leg; nil at the end of the day.
func (v *Vehicle) advance() *stream {
	for {
		s := v.streams[0]
		if s.next < min(v.throwAt, v.sleepAt) {
			return s
		}
		if v.throwAt < v.sleepAt {
			v.truth.Cut = append(v.truth.Cut, v.throwAt)
		}
		if v.leg+1 >= len(v.legs) {
			return nil
		}
		off := v.keyOn.Add(v.legs[v.leg].Key + v.legs[v.leg].Off)
		v.cool(v.legs[v.leg].Off)
		v.leg++
		v.begin(off)
	}
}

// cool lets the exhaust cool while nothing is stepped.
func (v *Vehicle) cool(off time.Duration) {
	for range int(off / time.Minute) {
		v.engine.catalyst += (20 - v.engine.catalyst) / 40
		v.engine.outlet += (20 - v.engine.outlet) / 40
	}
}

// Fill fills dst with the next frames in order and returns their number; 0 at the end of the day.
func (v *Vehicle) Fill(dst []can.Frame) (n int) {
	for n < len(dst) {
		s := v.advance()
		if s == nil {
			return n
		}
		if v.make(s, &dst[n]) {
			n++
		}
	}
	return n
}

// make lets a stream have its turn; false when it has nothing to say this time.
func (v *Vehicle) make(s *stream, f *can.Frame) bool {
	t := s.next
	v.now = t
	says := s.say(t, f)
	s.next = t.Add(s.period)
	if s.jitter > 0 {
		s.next = s.next.Add(time.Duration(v.random.Uint64()%uint64(s.jitter)) - s.jitter/2)
	}
	sift(v.streams)
	if !says || !v.alive(s, t) {
		return false
	}
	f.Time, f.IsExtended, f.IsRemote, f.Error, f.Channel = t, true, false, false, 0
	return true
}

// alive says whether a stream's controller speaks at t.
func (v *Vehicle) alive(s *stream, t clock.Instant) bool {
	if !s.afterRun && t.Sub(v.keyOn) > v.legs[v.leg].Key+5*time.Second {
		return false
	}
	if v.episodes.in(v.episodes.busGaps, t) || s.ofUnit && v.episodes.in(v.episodes.silences, t) {
		return false
	}
	return !slices.Contains(v.options.Silent, s.pgn)
}

// Receive hands out the next frames, as a recording does: until is ignored, io.EOF is the end of the day.
func (v *Vehicle) Receive(dst []can.Frame, _ clock.Instant) (int, error) {
	n := v.Fill(dst)
	v.received += uint64(n)
	if n == 0 && len(dst) > 0 {
		return 0, io.EOF
	}
	return n, nil
}

// Now is the time of the last frame.
func (v *Vehicle) Now() clock.Instant { return v.now }

// Stats counts the frames handed out.
func (v *Vehicle) Stats() can.Stats { return can.Stats{Received: v.received} }

// Close does nothing.
func (v *Vehicle) Close() error { return nil }

// Next is the time of the next frame; Never at the end of the day.
func (v *Vehicle) Next() clock.Instant {
	s := v.advance()
	if s == nil {
		return clock.Never
	}
	return s.next
}

// Step appends the frames whose time has come. The vehicle hears nothing.
func (v *Vehicle) Step(now clock.Instant, _ []can.Frame, out []einride.Frame) []einride.Frame {
	var f can.Frame
	for s := v.advance(); s != nil && s.next <= now; s = v.advance() {
		if v.make(s, &f) {
			out = append(out, f.Frame)
		}
	}
	return out
}
