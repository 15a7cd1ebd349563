package transport_test

import (
	"container/heap"
	"math/rand/v2"
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/transport"
)

// path carries frames between endpoints in virtual time, and may lose, double and delay them.
type path struct {
	random                  *rand.Rand
	loss, doubled, overtook float64 // probabilities
	drop                    func(n int, f einride.Frame) bool
	now                     clock.Instant
	flying                  flights
	sent                    []einride.Frame
	nodes                   []*endpoint
}

// endpoint is one node on the path and what happened to it.
type endpoint struct {
	*transport.Endpoint
	outcomes []transport.Outcome
}

type flight struct {
	f     can.Frame
	order int
}

type flights []flight

func (f flights) Len() int { return len(f) }
func (f flights) Less(i, j int) bool {
	return f[i].f.Time < f[j].f.Time || f[i].f.Time == f[j].f.Time && f[i].order < f[j].order
}
func (f flights) Swap(i, j int) { f[i], f[j] = f[j], f[i] }
func (f *flights) Push(x any)   { *f = append(*f, x.(flight)) }
func (f *flights) Pop() any {
	last := (*f)[len(*f)-1]
	*f = (*f)[:len(*f)-1]
	return last
}

func (p *path) add(address uint8, o transport.Options) *endpoint {
	e := &endpoint{Endpoint: transport.NewEndpoint(address, o)}
	p.nodes = append(p.nodes, e)
	return e
}

const flightTime = 500 * time.Microsecond

func (p *path) send(f einride.Frame) {
	p.sent = append(p.sent, f)
	if p.drop != nil && p.drop(len(p.sent)-1, f) || p.random != nil && p.random.Float64() < p.loss {
		return
	}
	p.fly(f, flightTime)
	if p.random != nil && p.random.Float64() < p.doubled {
		p.fly(f, flightTime+time.Duration(p.random.IntN(5))*time.Millisecond)
	}
}

func (p *path) fly(f einride.Frame, takes time.Duration) {
	if p.random != nil && p.random.Float64() < p.overtook {
		takes += time.Duration(1+p.random.IntN(4)) * time.Millisecond
	}
	heap.Push(&p.flying, flight{can.Frame{Frame: f, Time: p.now.Add(takes)}, len(p.sent)})
}

// run steps everybody until nothing is left to do, or until.
func (p *path) run(until clock.Instant) {
	for {
		next := clock.Never
		for _, e := range p.nodes {
			next = min(next, e.Next())
		}
		if len(p.flying) > 0 {
			next = min(next, p.flying[0].f.Time)
		}
		if next > until || next == clock.Never {
			return
		}
		p.now = max(p.now, next)
		var heard []can.Frame
		for len(p.flying) > 0 && p.flying[0].f.Time <= p.now {
			heard = append(heard, heap.Pop(&p.flying).(flight).f)
		}
		for _, e := range p.nodes {
			var a transport.Actions
			e.Step(p.now, heard, &a)
			e.outcomes = append(e.outcomes, a.Outcomes...)
			for _, f := range a.Frames {
				p.send(f)
			}
		}
	}
}

const minute = clock.Instant(time.Minute)

func payload(n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(i*7 + i/256)
	}
	return b
}
