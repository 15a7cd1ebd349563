package engine

import (
	"bytes"
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/bench/journal"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/can"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
)

// aPlan presses, holds, sucks empty and relieves.
func aPlan() *scenario.Plan {
	return &scenario.Plan{Name: "a plan", Nominal: 9, Steps: []scenario.Step{
		{Name: "vent", Kind: scenario.Vent, Duration: 2 * time.Second},
		{Name: "prime", Kind: scenario.Prime, Drive: 60, Pressure: 2, Stays: 500 * time.Millisecond, Timeout: 20 * time.Second},
		{Name: "pressurise", Kind: scenario.Pressurise, Pressure: 9, Band: 3, Stays: time.Second, Timeout: 20 * time.Second},
		{Name: "hold", Kind: scenario.Hold, Pressure: 9, Duration: 10 * time.Second, Settle: 2 * time.Second},
		{Name: "relieve", Kind: scenario.Relieve, Pressure: 0.2, Stays: 500 * time.Millisecond, Timeout: 20 * time.Second},
	}}
}

// ran is what a test looks at: how the run ended, what the journal says and what the plant heard.
type ran struct {
	Outcome
	rec   *samples.Recording
	plant *plant
}

// runWith runs a plan on a plant that breaks changes once its time since the start has come.
func runWith(t *testing.T, ctx context.Context, plan *scenario.Plan, p *plant, progress func(Progress)) ran {
	t.Helper()
	p.now = epoch
	bus := virtual.New(epoch, 250_000)
	bus.Attach(p)
	file := &journal.Memory{}
	w, err := journal.NewWriter(file, journal.Header{})
	require.NoError(t, err)
	out, err := Run(ctx, Config{Plan: plan, Rig: shippedRig(t), Port: bus.Open("harness"), Journal: w, Progress: progress})
	require.NoError(t, err)
	require.NoError(t, w.Close())
	_, rec, err := journal.Read(bytes.NewReader(file.Bytes()))
	require.NoError(t, err)
	require.Equal(t, out.Ended, rec.Ended)
	return ran{out, rec, p}
}

// requireSafe: the last command that the plant heard is the node's safe state.
func (r ran) requireSafe(t *testing.T) {
	t.Helper()
	last := r.plant.heard[len(r.plant.heard)-1].data
	require.Zero(t, last.UnsignedBitsLittleEndian(0, 16), "pump")
	require.Zero(t, last.UnsignedBitsLittleEndian(16, 16), "dosing valve")
	for _, start := range []uint8{32, 34, 36, 40} {
		require.Zero(t, last.UnsignedBitsLittleEndian(start, 2), "output at bit %d", start)
	}
}

func TestRunsAPlan(t *testing.T) {
	r := runWith(t, context.Background(), aPlan(), &plant{}, nil)
	require.Equal(t, samples.Completed, r.Ended)
	require.Len(t, r.rec.Steps, 5)
	for _, s := range r.rec.Steps {
		require.Equal(t, samples.Done, s.Outcome, "%s %s", s.Name, s.Note)
	}
	require.True(t, r.SafeToOpen())
	r.requireSafe(t)
	hold := r.rec.Steps[3]
	for i, at := range r.rec.Channels[rig.ReferencePressure].T {
		if at > hold.Start.Add(2*time.Second) && at < hold.End {
			require.InDelta(t, 9, r.rec.Channels[rig.ReferencePressure].V[i], 0.3)
		}
	}
}

// TestCommandCycle: commands come every 20 ms from the first to the last, in every step and between
// steps: the node takes its safe state after 200 ms without.
func TestCommandCycle(t *testing.T) {
	r := runWith(t, context.Background(), aPlan(), &plant{}, nil)
	alive := -1
	for i, c := range r.plant.heard {
		if i > 0 {
			require.InDelta(t, 20, c.at.Sub(r.plant.heard[i-1].at).Seconds()*1e3, 2, "command %d", i)
		}
		count := int(c.data.UnsignedBitsLittleEndian(56, 4))
		require.True(t, alive < 0 || count == (alive+1)%16, "the alive counter counts on")
		alive = count
	}
}

// during calls act once, a while into the step of that name.
func during(step string, after time.Duration, act func(now clock.Instant)) func(Progress) {
	acted := false
	return func(p Progress) {
		if !acted && p.Name == step && p.Elapsed >= after {
			acted = true
			act(p.Now)
		}
	}
}

// TestOverPressure: from the reading above the limit to the first command at rest it takes at most two cycles.
func TestOverPressure(t *testing.T) {
	p := &plant{}
	var broke clock.Instant
	r := runWith(t, context.Background(), aPlan(), p, during("hold", time.Second, func(now clock.Instant) {
		p.addBar, broke = 3.2, now
	}))
	require.Equal(t, samples.Tripped, r.Ended)
	require.Equal(t, "over-pressure", r.Trip.Name)
	require.NotNil(t, r.rec.Trip)
	for _, c := range p.heard {
		if c.at > r.Trip.Time && c.data.UnsignedBitsLittleEndian(0, 16) == 0 {
			require.LessOrEqual(t, c.at.Sub(r.Trip.Time), 2*20*time.Millisecond)
			break
		}
	}
	require.Greater(t, r.Trip.Time, broke)
	r.requireSafe(t)
}

// TestPumpStopsWithTheTrip: no command after a trip drives the pump, whatever the plan wanted.
func TestPumpStopsWithTheTrip(t *testing.T) {
	p := &plant{}
	r := runWith(t, context.Background(), aPlan(), p, during("hold", time.Second, func(clock.Instant) { p.stop = true }))
	require.Equal(t, "emergency-stop", r.Trip.Name)
	for _, c := range p.heard {
		if c.at > r.Trip.Time.Add(40*time.Millisecond) {
			require.Zero(t, c.data.UnsignedBitsLittleEndian(0, 16))
		}
	}
}

// A bench that is not heard may still hear: it is sent everything at rest and the vent open for as long as the plan's
// relieve step waits, and the end says what is known and what is not.
func TestSilentBench(t *testing.T) {
	p := &plant{}
	var shown *samples.Trip
	fall := during("hold", time.Second, func(now clock.Instant) { p.silentFrom = now })
	r := runWith(t, context.Background(), aPlan(), p, func(g Progress) {
		fall(g)
		if g.Trip != nil && shown == nil {
			require.Less(t, g.Now.Sub(p.silentFrom), time.Second, "a person is told at once")
			shown = g.Trip
		}
	})
	require.Equal(t, samples.BenchFault, r.Ended)
	require.Equal(t, "bench-silent", r.Trip.Name)
	require.Equal(t, r.Trip, shown)
	require.Less(t, r.Trip.Time.Sub(p.silentFrom), time.Second)
	require.False(t, r.SafeToOpen(), "nothing is known of a bench that is silent")
	require.InDelta(t, 0, p.pressure, 0.1, "it heard: the line is relieved")
	require.Equal(t, 20*time.Second, r.Unseen, "the time-out of the relieve step")
	for _, c := range p.heard {
		switch since := c.at.Sub(r.Trip.Time); {
		case since > 20*time.Millisecond && since < 19*time.Second:
			require.Zero(t, c.data.UnsignedBitsLittleEndian(0, 16), "pump %s after the trip", since)
			require.Equal(t, uint64(1), c.data.UnsignedBitsLittleEndian(40, 2), "vent %s after the trip", since)
		}
	}
	require.True(t, r.Last.Known)
	require.InDelta(t, 9, r.Last.Pressure, 0.5)
	require.Contains(t, r.Unknown(), "whether it heard that is not known")
	require.Contains(t, r.rec.Events[len(r.rec.Events)-1].Text, r.Unknown())
	r.requireSafe(t)
}

// One that comes back while it is relieved ends the wait, and its reading is believed.
func TestSilentBench_ComesBack(t *testing.T) {
	p := &plant{}
	r := runWith(t, context.Background(), aPlan(), p, during("hold", time.Second, func(now clock.Instant) {
		p.silentFrom, p.silentTo = now, now.Add(5*time.Second)
	}))
	require.Equal(t, samples.BenchFault, r.Ended)
	require.True(t, r.SafeToOpen())
	require.InDelta(t, 4.8, r.Unseen.Seconds(), 0.2)
}

// One that hears nothing either is left to its own time-out, and is not said to be relieved.
func TestSilentBench_Deaf(t *testing.T) {
	p := &plant{deaf: true}
	r := runWith(t, context.Background(), aPlan(), p, during("hold", time.Second, func(now clock.Instant) { p.silentFrom = now }))
	require.False(t, r.SafeToOpen())
	require.Greater(t, p.pressure, 1.0, "this plant has no time-out of its own")
	require.Contains(t, r.Unknown(), "the vent open for 20.0 s")
}

func TestNobodyThere(t *testing.T) {
	r := runWith(t, context.Background(), aPlan(), &plant{silentFrom: epoch}, nil)
	require.Equal(t, samples.BenchFault, r.Ended)
	require.Empty(t, r.rec.Steps, "no step begins before the bench answers")
}

func TestSensorError(t *testing.T) {
	p := &plant{}
	r := runWith(t, context.Background(), aPlan(), p, during("hold", time.Second, func(clock.Instant) { p.sensorBad = true }))
	require.Equal(t, samples.Tripped, r.Ended)
	require.Equal(t, "sensor-error", r.Trip.Name)
	require.True(t, r.SafeToOpen(), "the reference gauge has seen the line come down")
}

// TestStoppedByAPerson: the line is relieved before the run ends.
func TestStoppedByAPerson(t *testing.T) {
	ctx, stop := context.WithCancel(context.Background())
	r := runWith(t, ctx, aPlan(), &plant{}, during("hold", time.Second, func(clock.Instant) { stop() }))
	require.Equal(t, samples.Stopped, r.Ended)
	require.True(t, r.SafeToOpen())
	require.Equal(t, samples.CutShort, r.rec.Steps[3].Outcome)
	r.requireSafe(t)
}

// TestTimedOutStep: a pressure that never comes ends the plan, and the line is relieved.
func TestTimedOutStep(t *testing.T) {
	plan := aPlan()
	plan.Steps[2].Pressure, plan.Steps[2].Timeout = 11, 5*time.Second
	plan.Steps[2].Band = 0.01
	r := runWith(t, context.Background(), plan, &plant{}, nil)
	require.Equal(t, samples.Completed, r.Ended)
	require.Len(t, r.rec.Steps, 3)
	require.Equal(t, samples.TimedOut, r.rec.Steps[2].Outcome)
	require.Contains(t, r.rec.Steps[2].Note, "11 bar")
	require.True(t, r.SafeToOpen())
}

// TestPanic: a panic in the middle of a hold still sends the safe state and closes the record.
func TestPanic(t *testing.T) {
	p := &plant{now: epoch}
	bus := virtual.New(epoch, 250_000)
	bus.Attach(p)
	file := &journal.Memory{}
	w, err := journal.NewWriter(file, journal.Header{})
	require.NoError(t, err)
	_, err = Run(context.Background(), Config{Plan: aPlan(), Rig: shippedRig(t), Port: bus.Open("harness"), Journal: w,
		Progress: during("hold", time.Second, func(clock.Instant) { panic("a broken invariant") })})
	require.ErrorContains(t, err, "a broken invariant")
	_, rec, err := journal.Read(bytes.NewReader(file.Bytes()))
	require.NoError(t, err)
	require.Equal(t, samples.Failed, rec.Ended)
	ran{plant: p}.requireSafe(t)
}

// TestLostBus: an interface that goes down ends the run as a bench fault.
func TestLostBus(t *testing.T) {
	p := &plant{now: epoch}
	bus := virtual.New(epoch, 250_000)
	bus.Attach(p)
	w, err := journal.NewWriter(&journal.Memory{}, journal.Header{})
	require.NoError(t, err)
	out, err := Run(context.Background(), Config{Plan: aPlan(), Rig: shippedRig(t), Port: bus.Open("harness"), Journal: w,
		Progress: during("hold", time.Second, func(clock.Instant) { bus.Fail(can.ErrDown) })})
	require.NoError(t, err)
	require.Equal(t, samples.BenchFault, out.Ended)
	require.Equal(t, "lost-bus", out.Trip.Name)
}

// fullDisk is a journal file that takes no more after a while.
type fullDisk struct {
	journal.Memory
	full bool
}

func (d *fullDisk) Write(b []byte) (int, error) {
	if d.full {
		return 0, errors.New("no space left on device")
	}
	return d.Memory.Write(b)
}

// TestJournalNotWritable: a run that leaves no record is ended, with the safe state.
func TestJournalNotWritable(t *testing.T) {
	p, disk := &plant{now: epoch}, &fullDisk{}
	bus := virtual.New(epoch, 250_000)
	bus.Attach(p)
	w, err := journal.NewWriter(disk, journal.Header{})
	require.NoError(t, err)
	out, err := Run(context.Background(), Config{Plan: aPlan(), Rig: shippedRig(t), Port: bus.Open("harness"), Journal: w,
		Progress: during("hold", time.Second, func(clock.Instant) { disk.full = true })})
	require.NoError(t, err)
	require.Equal(t, "journal-not-writable", out.Trip.Name)
	ran{plant: p}.requireSafe(t)
}

// TestSecondCommander: a frame with our own command message, sent by somebody else, ends the run.
func TestSecondCommander(t *testing.T) {
	p := &plant{now: epoch}
	bus := virtual.New(epoch, 250_000)
	bus.Attach(p)
	other := bus.Open("other")
	w, err := journal.NewWriter(&journal.Memory{}, journal.Header{})
	require.NoError(t, err)
	out, err := Run(context.Background(), Config{Plan: aPlan(), Rig: shippedRig(t), Port: bus.Open("harness"), Journal: w,
		Progress: during("hold", time.Second, func(clock.Instant) {
			require.NoError(t, other.Send(einride.Frame{ID: idOutputs, IsExtended: true, Length: 8}))
		})})
	require.NoError(t, err)
	require.Equal(t, "second-commander", out.Trip.Name)
}
