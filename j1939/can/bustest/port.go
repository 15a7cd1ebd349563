// Package bustest is the one suite that every twin of the CAN bus port must pass: socketcan, virtual, and (as
// a source) the replay of a capture. What the suite asks is the contract of can.Port in j1939/can/frame.go.
//
// It asserts no speed and no upper limit of a wait, because the Linux interface is tested in an emulated
// computer that is many times slower than a real one.
package bustest

import (
	"os"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// Pair is two ports on one bus on which nobody else sends.
type Pair struct {
	A, B can.Port
	// Pace is waited after every frame: an emulated bus takes no wire time, and so overruns a
	// controller that a real one could not. 0: none.
	Pace time.Duration
	// NoRemoteLength leaves out remote frames whose length is not 0: the SJA1000 that qemu 7.2 emulates
	// keeps data bytes for them that its driver does not take, and garbles every frame after.
	NoRemoteLength bool
	// Overflow is a number of frames that is more than B keeps when nobody reads. 0: not tested on this pair.
	Overflow int
	// Fail takes the bus down. It is called last.
	Fail func()
}

// RunPort runs the suite; open is called anew for every test, and the ports are closed after it.
func RunPort(t *testing.T, open func(t *testing.T) Pair) {
	for _, c := range []struct {
		name string
		test func(*testing.T, Pair)
	}{
		{"Content", content},
		{"OrderInSmallBatches", orderInSmallBatches},
		{"BothWays", bothWays},
		{"SenderDoesNotHearItself", noSelfReception},
		{"DeadlineWhenSilent", deadlineWhenSilent},
		{"FrameEndsTheWait", frameEndsTheWait},
		{"InvalidFrameIsRefused", invalidFrame},
		{"LossIsCounted", lossIsCounted},
		{"NoAllocation", noAllocation},
		{"Close", closing},
		{"Down", down},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := open(t)
			defer func() {
				require.NoError(t, p.A.Close())
				require.NoError(t, p.B.Close())
			}()
			c.test(t, p)
		})
	}
}

// patience is far more than any frame takes on any twin.
const patience = 30 * time.Second

// send sends all of frames, waiting while the transmit queue is full.
func (pair Pair) send(t *testing.T, p can.Port, frames ...einride.Frame) {
	t.Helper()
	var scratch [64]can.Frame
	for _, f := range frames {
		err := p.Send(f)
		for tries := 0; err != nil && tries < 1000; tries++ {
			require.ErrorIs(t, err, can.ErrBusy)
			_, waited := p.Receive(scratch[:], p.Now().Add(10*time.Millisecond))
			require.NoError(t, waited)
			err = p.Send(f)
		}
		require.NoError(t, err)
		if pair.Pace > 0 {
			_, err := p.Receive(scratch[:], p.Now().Add(pair.Pace))
			require.NoError(t, err)
		}
	}
}

// hear receives n frames in batches of size.
func hear(t *testing.T, p can.Source, n, size int) []can.Frame {
	t.Helper()
	var all []can.Frame
	batch := make([]can.Frame, size)
	until := p.Now().Add(patience)
	for len(all) < n {
		got, err := p.Receive(batch, until)
		require.NoError(t, err)
		require.NotZero(t, got, "heard %d of %d frames", len(all), n)
		all = append(all, batch[:got]...)
	}
	require.Equal(t, n, len(all), "more frames than were sent")
	return all
}

// requireOnTheBus checks content and that the stamps rise and lie between the two times.
func requireOnTheBus(t *testing.T, want []einride.Frame, got []can.Frame, from, to clock.Instant) {
	t.Helper()
	for i := range want {
		require.Equal(t, want[i], got[i].Frame, "frame %d", i)
		require.False(t, got[i].Error)
		require.Zero(t, got[i].Channel)
		require.GreaterOrEqual(t, got[i].Time, from, "frame %d is stamped before it was sent", i)
		require.LessOrEqual(t, got[i].Time, to, "frame %d is stamped later than now", i)
		from = got[i].Time
	}
}

// everyForm is frames of every length, both formats, both kinds, and the identifiers at the ends.
func everyForm() []einride.Frame {
	var all []einride.Frame
	for _, extended := range []bool{false, true} {
		ids := []uint32{0, 0x123, einride.MaxID}
		if extended {
			ids = []uint32{0, 0x7FF, 0x18FEEE00, einride.MaxExtendedID}
		}
		for _, id := range ids {
			for length := range uint8(9) {
				f := einride.Frame{ID: id, IsExtended: extended, Length: length}
				all = append(all, einride.Frame{ID: id, IsExtended: extended, Length: length, IsRemote: true})
				for i := range length {
					f.Data[i] = 0xF0 + i
				}
				all = append(all, f)
			}
		}
	}
	return all
}

func content(t *testing.T, p Pair) {
	want, from := everyForm(), p.A.Now()
	if p.NoRemoteLength {
		want = slices.DeleteFunc(want, func(f einride.Frame) bool { return f.IsRemote && f.Length > 0 })
	}
	p.send(t, p.A, want...)
	got := hear(t, p.B, len(want), 256)
	requireOnTheBus(t, want, got, from, p.B.Now())
	require.Equal(t, can.Stats{Received: uint64(len(want))}, p.B.Stats())
	require.Equal(t, can.Stats{Sent: uint64(len(want))}, p.A.Stats())
}

func numbered(n int) []einride.Frame {
	frames := make([]einride.Frame, n)
	for i := range frames {
		frames[i] = einride.Frame{ID: 0x18FF0000, IsExtended: true, Length: 2}
		frames[i].Data = einride.Data{byte(i >> 8), byte(i)}
	}
	return frames
}

func orderInSmallBatches(t *testing.T, p Pair) {
	want, from := numbered(300), p.A.Now()
	p.send(t, p.A, want...)
	requireOnTheBus(t, want, hear(t, p.B, len(want), 7), from, p.B.Now())
}

func bothWays(t *testing.T, p Pair) {
	question := einride.Frame{ID: 0x18EAFF00, IsExtended: true, Length: 3, Data: einride.Data{0, 0xEE}}
	answer := einride.Frame{ID: 0x18EEFF80, IsExtended: true, Length: 8}
	for range 5 {
		p.send(t, p.A, question)
		require.Equal(t, question, hear(t, p.B, 1, 4)[0].Frame)
		p.send(t, p.B, answer)
		require.Equal(t, answer, hear(t, p.A, 1, 4)[0].Frame)
	}
	require.Equal(t, can.Stats{Received: 5, Sent: 5}, p.A.Stats())
}

func noSelfReception(t *testing.T, p Pair) {
	p.send(t, p.A, numbered(3)...)
	n, err := p.A.Receive(make([]can.Frame, 4), p.A.Now().Add(100*time.Millisecond))
	require.NoError(t, err)
	require.Zero(t, n)
	hear(t, p.B, 3, 4)
}

func deadlineWhenSilent(t *testing.T, p Pair) {
	batch := make([]can.Frame, 4)
	waits := []time.Duration{-time.Hour, 0, time.Microsecond, 30 * time.Millisecond, 250 * time.Millisecond}
	for _, wait := range waits {
		until := p.B.Now().Add(wait)
		n, err := p.B.Receive(batch, until)
		require.NoError(t, err)
		require.Zero(t, n)
		require.GreaterOrEqual(t, p.B.Now(), until, "back before its time")
	}
}

func frameEndsTheWait(t *testing.T, p Pair) {
	p.send(t, p.A, numbered(1)...)
	until := p.B.Now().Add(time.Hour)
	n, err := p.B.Receive(make([]can.Frame, 4), until)
	require.NoError(t, err)
	require.Equal(t, 1, n)
	require.Less(t, p.B.Now(), until)
}

func invalidFrame(t *testing.T, p Pair) {
	for _, f := range []einride.Frame{
		{ID: einride.MaxID + 1},
		{ID: einride.MaxExtendedID + 1, IsExtended: true},
		{Length: 9},
	} {
		require.Error(t, p.A.Send(f))
	}
	p.send(t, p.A, numbered(1)...)
	require.Equal(t, numbered(1)[0], hear(t, p.B, 1, 4)[0].Frame, "nothing went out before it")
	require.Equal(t, can.Stats{Sent: 1}, p.A.Stats())
}

func lossIsCounted(t *testing.T, p Pair) {
	if p.Overflow == 0 {
		t.Skip("the queue of this pair is not what loses frames first")
	}
	batch := make([]can.Frame, 64)
	p.send(t, p.A, numbered(p.Overflow)...)
	_, err := p.A.Receive(batch, p.A.Now().Add(2*time.Second)) // all of them on the bus
	require.NoError(t, err)
	heard := 0
	for {
		n, err := p.B.Receive(batch, p.B.Now())
		require.NoError(t, err)
		if heard += n; n == 0 {
			break
		}
	}
	t.Logf("the queue held %d of %d frames", heard, p.Overflow)
	require.Less(t, heard, p.Overflow, "the queue holds more than the test sends")
	p.send(t, p.A, numbered(1)...) // a drop may be told with the next frame only
	hear(t, p.B, 1, 1)
	s := p.B.Stats()
	require.EqualValues(t, heard+1, s.Received)
	require.EqualValues(t, p.Overflow-heard, s.Lost, "heard %d of %d", heard, p.Overflow)
}

func noAllocation(t *testing.T, p Pair) {
	frames, batch := numbered(1), make([]can.Frame, 64)
	allocated := testing.AllocsPerRun(50, func() {
		if err := p.A.Send(frames[0]); err != nil {
			t.Fatal(err)
		}
		if n, err := p.B.Receive(batch, p.B.Now().Add(patience)); n != 1 || err != nil {
			t.Fatal(n, err)
		}
		if n, err := p.B.Receive(batch, p.B.Now().Add(time.Millisecond)); n != 0 || err != nil {
			t.Fatal(n, err)
		}
	})
	require.Zero(t, allocated)
}

func closing(t *testing.T, p Pair) {
	require.NoError(t, p.A.Close())
	require.NoError(t, p.A.Close(), "closing twice is no error")
	require.ErrorIs(t, p.A.Send(numbered(1)[0]), os.ErrClosed)
	_, err := p.A.Receive(make([]can.Frame, 1), p.A.Now().Add(time.Hour))
	require.ErrorIs(t, err, os.ErrClosed)
	require.Zero(t, p.A.Stats().Sent)
}

func down(t *testing.T, p Pair) {
	p.Fail()
	batch := make([]can.Frame, 4)
	for range 3 { // and it stays so
		_, err := p.B.Receive(batch, p.B.Now().Add(patience))
		require.ErrorIs(t, err, can.ErrDown)
		require.ErrorIs(t, p.A.Send(numbered(1)[0]), can.ErrDown)
		_, err = p.A.Receive(batch, p.A.Now().Add(patience))
		require.ErrorIs(t, err, can.ErrDown)
	}
	require.Zero(t, p.A.Stats().Sent)
}
