package engine

import (
	"context"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/bench/interlock"
	"holdfast/bench/journal"
	"holdfast/bench/samples"
	"holdfast/j1939/can"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
)

// faulty is a port with what no virtual bus has: error frames, losses, and a program that is held up.
type faulty struct {
	can.Port
	inject []can.Frame
	lost   uint64
	held   time.Duration // the computer's clock has gone on for so long without us
	full   bool          // the transmit queue takes nothing
}

func (f *faulty) Send(frame einride.Frame) error {
	if f.full {
		return can.ErrBusy
	}
	return f.Port.Send(frame)
}

func (f *faulty) Receive(dst []can.Frame, until clock.Instant) (int, error) {
	if len(f.inject) > 0 {
		n := copy(dst, f.inject)
		f.inject = f.inject[n:]
		for i := range dst[:n] {
			dst[i].Time = f.Now()
		}
		return n, nil
	}
	if f.held > 0 {
		until = until.Add(f.held)
		for {
			n, err := f.Port.Receive(dst, until)
			if n == 0 || err != nil {
				f.held = 0
				return n, err
			}
		}
	}
	return f.Port.Receive(dst, until)
}

func (f *faulty) Stats() can.Stats {
	s := f.Port.Stats()
	s.Lost += f.lost
	return s
}

// breakDuring runs a plan and lets act break something a second into a step.
func breakDuring(t *testing.T, step string, act func(*faulty, *virtual.Bus)) ran {
	t.Helper()
	p := &plant{now: epoch}
	bus := virtual.New(epoch, 250_000)
	bus.Attach(p)
	port := &faulty{Port: bus.Open("harness")}
	w, err := journal.NewWriter(&journal.Memory{}, journal.Header{})
	require.NoError(t, err)
	out, err := Run(context.Background(), Config{Plan: aPlan(), Rig: shippedRig(t), Port: port, Journal: w,
		Progress: during(step, time.Second, func(clock.Instant) { act(port, bus) })})
	require.NoError(t, err)
	return ran{Outcome: out, plant: p}
}

func data(b ...byte) (d einride.Data) {
	copy(d[:], b)
	return d
}

// TestTrips: each thing that goes wrong in the middle of a hold ends the run under its name, as the unit's fault
// or the bench's, and with the bench safe.
func TestTrips(t *testing.T) {
	extended := func(id uint32, d einride.Data) can.Frame {
		return can.Frame{Frame: einride.Frame{ID: id, IsExtended: true, Length: 8, Data: d}}
	}
	for _, c := range []struct {
		name  string
		ended samples.Ended
		act   func(*faulty, *virtual.Bus)
	}{
		{"red-stop-lamp", samples.Tripped, func(f *faulty, _ *virtual.Bus) { // DM1: red stop on, SPN 4334 FMI 3
			f.inject = []can.Frame{extended(0x18FECAC8, data(0x10, 0xFF, 0xEE, 0x10, 0x03, 1, 0xFF, 0xFF))}
		}},
		{"bus-off", samples.BenchFault, func(f *faulty, _ *virtual.Bus) {
			f.inject = []can.Frame{{Frame: einride.Frame{ID: 0x40, Length: 8}, Error: true}}
		}},
		{"error-passive", samples.BenchFault, func(f *faulty, _ *virtual.Bus) {
			f.inject = []can.Frame{{Frame: einride.Frame{ID: 0x04, Length: 8, Data: data(0, 0x20)}, Error: true}}
		}},
		{"live-vehicle", samples.BenchFault, func(f *faulty, _ *virtual.Bus) { // EEC1, 600 r/min
			f.inject = []can.Frame{extended(0x0CF00400, data(0xF0, 0x7D, 0x7D, 0xC0, 0x12, 0xFF, 0xFF, 0xFF))}
		}},
		{"cycle-overrun", samples.BenchFault, func(f *faulty, _ *virtual.Bus) { f.held = 190 * time.Millisecond }},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := breakDuring(t, "hold", c.act)
			require.Equal(t, c.ended, r.Ended)
			require.Equal(t, c.name, r.Trip.Name)
			r.requireSafe(t)
		})
	}
}

// TestTransmitStuck: a transmit queue that stays full ends the run before the node takes its own safe state; one that
// is full for a few cycles does not.
func TestTransmitStuck(t *testing.T) {
	r := breakDuring(t, "hold", func(f *faulty, _ *virtual.Bus) { f.full = true })
	require.Equal(t, samples.BenchFault, r.Ended)
	require.Equal(t, "transmit-stuck", r.Trip.Name)
	s := interlock.New(shippedRig(t), epoch)
	for i := range 100 {
		s.Sent(epoch.Add(time.Duration(i)*20*time.Millisecond), i%6 == 0)
	}
	require.Nil(t, s.Tripped())
}

// TestLostFramesAreNoTrip: a loss that tears no gap is recorded and the run goes on.
func TestLostFramesAreNoTrip(t *testing.T) {
	r := breakDuring(t, "hold", func(f *faulty, _ *virtual.Bus) { f.lost = 7 })
	require.Equal(t, samples.Completed, r.Ended)
}

// TestListensFirst: a bus on which a vehicle is alive, another harness commands or the stop is
// pressed is never spoken to.
func TestListensFirst(t *testing.T) {
	for name, sign := range map[string]einride.Frame{
		"live-vehicle":     {ID: 0x0CF00400, IsExtended: true, Length: 8, Data: data(0xF0, 0x7D, 0x7D, 0xC0, 0x12)},
		"second-commander": {ID: idOutputs, IsExtended: true, Length: 8},
	} {
		t.Run(name, func(t *testing.T) {
			p := &plant{now: epoch}
			bus := virtual.New(epoch, 250_000)
			bus.Attach(p)
			other, port := bus.Open("other"), bus.Open("harness")
			require.NoError(t, other.Send(sign))
			w, err := journal.NewWriter(&journal.Memory{}, journal.Header{})
			require.NoError(t, err)
			out, err := Run(context.Background(), Config{Plan: aPlan(), Rig: shippedRig(t), Port: port, Journal: w})
			require.NoError(t, err)
			require.Equal(t, samples.BenchFault, out.Ended)
			require.Equal(t, name, out.Trip.Name)
			require.Zero(t, port.Stats().Sent, "nothing may be sent")
		})
	}
}

// TestSilentAtFirst: nothing goes out before the bus has been listened to.
func TestSilentAtFirst(t *testing.T) {
	r := runWith(t, context.Background(), aPlan(), &plant{}, nil)
	require.GreaterOrEqual(t, r.plant.heard[0].at.Sub(epoch), interlock.VehicleListen)
}

// TestAnsweredAtOnce prints how long it takes from the end of the frame with the over-pressure to the end of the
// first frame at rest: the trip does not wait for the next command cycle.
func TestAnsweredAtOnce(t *testing.T) {
	const bits = 131 // of a frame of 8 bytes with a 29-bit identifier, without stuffing
	var worst time.Duration
	for phase := range 40 {
		p := &plant{}
		r := runWith(t, context.Background(), aPlan(), p,
			during("hold", time.Second+time.Duration(phase)*7*time.Millisecond, func(clock.Instant) { p.addBar = 3.2 }))
		require.Equal(t, "over-pressure", r.Trip.Name)
		for _, c := range p.heard {
			if c.at > r.Trip.Time {
				require.Zero(t, c.data.UnsignedBitsLittleEndian(0, 16), "the first command after the frame is at rest")
				worst = max(worst, c.at.Sub(r.Trip.Time))
				break
			}
		}
	}
	t.Logf("over-pressure frame heard to safe command on the bus, virtual, 40 runs: worst %.3f ms = %.2f cycles of 20 ms",
		worst.Seconds()*1e3, worst.Seconds()/0.020)
	require.LessOrEqual(t, worst, 5*bits*4*time.Microsecond, "a few frames of the node may go first")
}

// brokenDisk panics in the journal's own goroutine.
type brokenDisk struct {
	journal.Memory
	broken atomic.Bool
}

func (d *brokenDisk) Write(b []byte) (int, error) {
	if d.broken.Load() {
		panic("a broken invariant")
	}
	return d.Memory.Write(b)
}

// TestPanicOfTheJournalsGoroutine: a panic beside the engine ends the run with the bench safe, not the process.
func TestPanicOfTheJournalsGoroutine(t *testing.T) {
	p, disk := &plant{now: epoch}, &brokenDisk{}
	bus := virtual.New(epoch, 250_000)
	bus.Attach(p)
	w, err := journal.NewWriter(journal.NewBackground(disk), journal.Header{})
	require.NoError(t, err)
	out, err := Run(context.Background(), Config{Plan: aPlan(), Rig: shippedRig(t), Port: bus.Open("harness"), Journal: w,
		Progress: func(p Progress) {
			disk.broken.Store(p.Name == "hold")
			if p.Now%clock.Instant(time.Second) < clock.Instant(40*time.Millisecond) {
				time.Sleep(5 * time.Millisecond) // the journal's goroutine lives in real time
			}
		}})
	require.NoError(t, err)
	require.Equal(t, samples.BenchFault, out.Ended)
	require.Equal(t, "journal-not-writable", out.Trip.Name)
	require.Contains(t, out.Trip.Reading, "a broken invariant")
	ran{plant: p}.requireSafe(t)
	require.Error(t, w.Close())
}
