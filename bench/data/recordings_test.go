package data_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/data"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/can/capture/recorded"
	"holdfast/j1939/trace"
)

// Real traffic: every row's value lies in the parameter's range and only valid ones are numbers; the rows
// come out in order of time.
func TestSignals_Recordings(t *testing.T) {
	source, err := capture.Open(recorded.File(t, "scr-engine-idle/traffic.log"))
	require.NoError(t, err)
	defer source.Close()
	var d trace.Decoder
	rows, last := 0, int64(0)
	speeds := 0
	s := data.Signals{Write: func(some []data.Signal) error {
		for _, r := range some {
			rows++
			require.GreaterOrEqual(t, r.Time, last)
			last = r.Time
			require.True(t, r.Value == nil || r.Status == "valid")
			if r.SPN == 190 && r.Value != nil {
				speeds++
				require.True(t, *r.Value > 500 && *r.Value < 1000, "idling, r/min: %g", *r.Value)
			}
		}
		return nil
	}}
	require.NoError(t, trace.Replay(context.Background(), source, func(f []can.Frame) error {
		d.Feed(f, s.Add)
		return s.Err
	}))
	s.Flush()
	require.NoError(t, s.Err)
	require.Greater(t, rows, 100_000)
	require.Greater(t, speeds, 10_000)
	t.Logf("%d rows, %d engine speeds", rows, speeds)
}
