package bustest

import (
	"io"
	"os"
	"testing"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/j1939/can"
)

// Recorded is a source that will give certain frames.
type Recorded struct {
	Source can.Source
	Want   []can.Frame // a Time of 0 is any time
	Ends   bool        // io.EOF comes after them: a replay, not a bus
}

// RunSource runs the part of the suite that asks nothing of sending; open is called anew for every test.
func RunSource(t *testing.T, open func(t *testing.T) Recorded) {
	for _, c := range []struct {
		name string
		test func(*testing.T, Recorded)
	}{
		{"HearsAllInOrder", hearsAll},
		{"CannotSend", cannotSend},
		{"EmptyBatch", emptyBatch},
		{"Close", closingSource},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := open(t)
			defer func() { require.NoError(t, r.Source.Close()) }()
			c.test(t, r)
		})
	}
}

func hearsAll(t *testing.T, r Recorded) {
	got := hear(t, r.Source, len(r.Want), 3)
	var stats can.Stats
	for i, want := range r.Want {
		if want.Time == 0 {
			got[i].Time = 0
		}
		require.Equal(t, want, got[i], "frame %d", i)
		if want.Error {
			stats.ErrorFrames++
		} else {
			stats.Received++
		}
	}
	heard := r.Source.Stats()
	heard.Skipped = 0
	require.Equal(t, stats, heard)
	if !r.Ends {
		return
	}
	for range 2 {
		n, err := r.Source.Receive(make([]can.Frame, 4), r.Source.Now())
		require.Equal(t, io.EOF, err)
		require.Zero(t, n)
	}
	require.Equal(t, r.Want[len(r.Want)-1].Time, r.Source.Now(), "a replay stands at its last frame")
}

// cannotSend looks behind the interface: what was handed out must not have the method at all.
func cannotSend(t *testing.T, r Recorded) {
	_, can := r.Source.(interface{ Send(einride.Frame) error })
	require.False(t, can, "%T has a method that sends", r.Source)
}

func emptyBatch(t *testing.T, r Recorded) {
	n, err := r.Source.Receive(nil, r.Source.Now())
	require.NoError(t, err)
	require.Zero(t, n)
	hear(t, r.Source, len(r.Want), 64)
}

func closingSource(t *testing.T, r Recorded) {
	require.NoError(t, r.Source.Close())
	require.NoError(t, r.Source.Close(), "closing twice is no error")
	_, err := r.Source.Receive(make([]can.Frame, 4), r.Source.Now())
	require.ErrorIs(t, err, os.ErrClosed)
}
