package watch_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/watch"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/can/capture/recorded"
	"holdfast/j1939/trace"
)

// recording watches one of the recordings with open licences that lie beside the repository.
func recording(t *testing.T, name string) *watch.Summary {
	t.Helper()
	r, err := capture.Open(recorded.File(t, name))
	require.NoError(t, err)
	defer r.Close()
	w := watch.New(watch.Options{}, nil)
	require.NoError(t, trace.Replay(context.Background(), r,
		func(f []can.Frame) error { w.Feed(f); return nil }))
	w.Finish()
	return w.Summary(name, 0)
}

func parameter(s *watch.Summary, spn uint32) *watch.Parameter {
	for i := range s.Seen {
		if s.Seen[i].SPN == spn {
			return &s.Seen[i]
		}
	}
	return nil
}

func missing(s *watch.Summary, spn uint32) string {
	for _, m := range s.NotSeen {
		if m.SPN == spn {
			return m.Why
		}
	}
	return ""
}

// An engine with SCR at idle, whose dosing information is not on the recorded bus. The expected figures are
// those of expected.json beside it, which other decoders made.
func TestRecording_EngineAtIdle(t *testing.T) {
	s := recording(t, "scr-engine-idle/traffic.log")
	require.EqualValues(t, 57849, s.Frames)
	require.Empty(t, s.Units, "there is no dosing information in it")
	require.Contains(t, s.Text(), "No supply unit on this bus")
	for _, spn := range []uint32{4334, 4331, 4332, 4333, 4348, 4374, 4375, 4376} {
		require.Equal(t, "its group was not heard", missing(s, spn), spn)
	}
	require.Equal(t, "sent by 85, but always not available", missing(s, 4360))
	require.EqualValues(t, 127, parameter(s, 1761).Messages)
	require.Equal(t, 100.0, parameter(s, 1761).Max)
	require.Equal(t, 650.0, float64(int(parameter(s, 190).Max+parameter(s, 190).Min)/2), "idle speed")
	require.NotEmpty(t, parameter(s, 3226).Note, "3012.75 ppm for two minutes, its heater off, is no "+
		"measurement")
	var codes [][2]uint32
	for _, f := range s.Faults {
		codes = append(codes, [2]uint32{f.SPN, uint32(f.FMI)})
		require.True(t, f.Active)
	}
	require.ElementsMatch(t, [][2]uint32{{609, 9}, {609, 12}, {980, 9}, {3216, 20}}, codes)
	require.Equal(t, watch.Act, finding(t, s.Findings, "fault codes").Level)
}

// A vehicle with the key on and the engine standing: its unit sleeps and its sensor says 0 kPa, which is no
// pressure, but nothing was lost either: no finding.
func TestRecording_KeyOnEngineOff(t *testing.T) {
	for _, name := range []string{"def-vehicle-key-on/traffic.log", "def-vehicle-key-on/traffic.pcap"} {
		s := recording(t, name)
		require.EqualValues(t, 1815, s.Frames)
		require.Len(t, s.Units, 1)
		require.EqualValues(t, 0, s.Units[0].Source)
		require.Equal(t, watch.NotSeen, s.Level, s.Text())
		require.Equal(t, watch.NotSeen, finding(t, s.Units[0].Findings, "pressure sensor").Level)
		require.Equal(t, watch.NotSeen, finding(t, s.Units[0].Findings, "pressure while dosing").Level)
		require.Contains(t, missing(s, 4375), "not heard")
		require.EqualValues(t, 163, parameter(s, 3516).Source)
	}
}

func finding(t testing.TB, list []watch.Finding, check string) watch.Finding {
	t.Helper()
	for _, f := range list {
		if f.Check == check {
			return f
		}
	}
	require.Fail(t, "no such check", check)
	return watch.Finding{}
}
