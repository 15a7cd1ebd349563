package journal_test

import (
	"bytes"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdfast/bench/journal"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

func header() journal.Header {
	return journal.Header{
		Identity: samples.Identity{Run: "20260102T030405Z-DEMO-1", Serial: "DEMO-1", UnitHours: 19840.5,
			Started: time.Date(2026, 1, 2, 3, 4, 5, 6, time.UTC), Scenario: "release", Rig: "bench-node", Bus: "sim",
			Simulated: true, Seed: 7, Faults: map[string]float64{"membrane-split": 0.5}, Version: "test"},
		ScenarioPath: "shipped", ScenarioText: []byte("name: release\n"),
		RigPath: "rigs/a.yaml", RigText: []byte("name: bench-node\n"), DBC: []byte("VERSION \"\"\n"),
	}
}

const t0 = clock.Instant(1_767_322_800_000_000_000)

// small writes a short complete run that has every kind of record in it.
func small(t testing.TB) *journal.Memory {
	m := &journal.Memory{}
	w, err := journal.NewWriter(m, header())
	require.NoError(t, err)
	require.NoError(t, w.StepStart(t0, 0, "vented", scenario.Vent))
	require.NoError(t, w.Command(t0, rig.SetVent, 1))
	for i := range 10 {
		at := t0.Add(time.Duration(i) * 300 * time.Millisecond)
		require.NoError(t, w.Reading(rig.Reading{Time: at, Value: float64(i), Channel: rig.LinePressure, Status: spn.Valid}))
		require.NoError(t, w.Command(at, rig.SetVent, 1))
		require.NoError(t, w.Tick(at))
	}
	require.NoError(t, w.Reading(rig.Reading{Time: t0, Channel: rig.LinePressure, Status: spn.ErrorState}))
	require.NoError(t, w.StepEnd(t0.Add(3*time.Second), 0, samples.Done, "fine"))
	require.NoError(t, w.Event(t0.Add(3*time.Second), "said so"))
	f := samples.Fault{Source: 61, SPN: 4334, FMI: 2, Count: 1, Active: true, First: t0, Last: t0}
	require.NoError(t, w.Fault(f))
	f.First, f.Last, f.Count = t0.Add(time.Second), t0.Add(2*time.Second), 2
	require.NoError(t, w.Fault(f))
	require.NoError(t, w.Trip(samples.Trip{Time: t0, Name: "over-pressure", Reading: "13.2 bar", Limit: "12 bar", Next: "wait"}))
	require.NoError(t, w.End(t0.Add(4*time.Second), samples.Tripped, 3))
	require.NoError(t, w.Close())
	return m
}

func TestRead_CompleteRun(t *testing.T) {
	h, rec, err := journal.Read(bytes.NewReader(small(t).Bytes()))
	require.NoError(t, err)
	require.Equal(t, header(), h)
	require.Equal(t, samples.Tripped, rec.Ended)
	require.EqualValues(t, 3, rec.FramesLost)
	require.Equal(t, t0, rec.Start)
	require.Equal(t, t0.Add(4*time.Second), rec.End)
	require.Len(t, rec.Channels[rig.LinePressure].T, 10)
	require.Equal(t, 1, rec.Invalid[rig.LinePressure])
	require.Equal(t, samples.Series{T: []clock.Instant{t0}, V: []float64{1}}, rec.Commands[rig.SetVent],
		"a value that stays is recorded once")
	require.Equal(t, []samples.StepRun{{Name: "vented", Kind: scenario.Vent, Start: t0, End: t0.Add(3 * time.Second),
		Outcome: samples.Done, Note: "fine"}}, rec.Steps)
	require.Equal(t, []samples.Fault{{Source: 61, SPN: 4334, FMI: 2, Count: 2, Active: true, First: t0,
		Last: t0.Add(2 * time.Second)}}, rec.Faults)
	require.Equal(t, "13.2 bar", rec.Trip.Reading)
}

// A journal cut at any byte either has no header yet, or reads as what was recorded up to there.
func TestRead_TruncatedAtEveryByte(t *testing.T) {
	whole := small(t).Bytes()
	_, want, err := journal.Read(bytes.NewReader(whole))
	require.NoError(t, err)
	headerOnly := &journal.Memory{}
	_, err = journal.NewWriter(headerOnly, header())
	require.NoError(t, err)
	start, seen := len(headerOnly.Bytes()), 0
	for n := range whole {
		h, rec, err := journal.Read(bytes.NewReader(whole[:n]))
		if n < start {
			require.ErrorIs(t, err, journal.ErrHeader, "cut at %d", n)
			continue
		}
		require.NoError(t, err, "cut at %d", n)
		require.Equal(t, samples.Interrupted, rec.Ended, "cut at %d", n)
		got := rec.Channels[rig.LinePressure]
		require.Equal(t, want.Channels[rig.LinePressure].V[:len(got.V)], append([]float64{}, got.V...))
		require.GreaterOrEqual(t, len(got.V), seen, "a longer piece never reads as less")
		require.Equal(t, h.Tail.Unreadable > 0, h.Tail.Why != "")
		seen = len(got.V)
	}
	require.Equal(t, 10, seen)
}

// CRC-32C finds every error of a single bit: nothing behind it is believed, nothing before it is lost.
func TestRead_BitFlips(t *testing.T) {
	whole := small(t).Bytes()
	headerOnly := &journal.Memory{}
	_, err := journal.NewWriter(headerOnly, header())
	require.NoError(t, err)
	for i := range whole {
		b := bytes.Clone(whole)
		b[i] ^= 1 << (i % 8)
		h, rec, err := journal.Read(bytes.NewReader(b))
		if i < len(headerOnly.Bytes()) {
			require.ErrorIs(t, err, journal.ErrHeader, "byte %d", i)
			continue
		}
		require.NoError(t, err)
		require.NotEmpty(t, h.Tail.Why, "byte %d", i)
		require.Positive(t, h.Tail.Unreadable)
		require.Equal(t, samples.Interrupted, rec.Ended)
	}
}

// What is written is what is read, for any run.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := &journal.Memory{}
		h := header()
		h.ScenarioText = []byte(strings.Repeat("x", rapid.IntRange(1, 200_000).Draw(t, "scenario")))
		w, err := journal.NewWriter(m, h)
		require.NoError(t, err)
		var want samples.Recording
		at := t0
		for range rapid.IntRange(0, 3000).Draw(t, "readings") / 100 {
			for range 100 {
				at += clock.Instant(rapid.IntRange(0, 1e8).Draw(t, "dt"))
				r := rig.Reading{Time: at, Value: rapid.Float64().Draw(t, "v"),
					Channel: rig.Channel(rapid.IntRange(0, rig.NumChannels-1).Draw(t, "ch")),
					Status:  spn.Status(rapid.IntRange(0, 5).Draw(t, "status"))}
				require.NoError(t, w.Reading(r))
				require.NoError(t, w.Tick(at))
				s := &want.Channels[r.Channel]
				if r.Status == spn.Valid {
					s.T, s.V = append(s.T, r.Time), append(s.V, r.Value)
				} else {
					want.Invalid[r.Channel]++
				}
			}
			text := rapid.String().Draw(t, "text")
			require.NoError(t, w.Event(at, text))
			want.Events = append(want.Events, samples.Event{Time: at, Text: text})
		}
		require.NoError(t, w.End(at, samples.Completed, 0))
		got, rec, err := journal.Read(bytes.NewReader(m.Bytes()))
		require.NoError(t, err)
		require.Equal(t, h.ScenarioText, got.ScenarioText)
		require.Equal(t, want.Channels, rec.Channels)
		require.Equal(t, want.Invalid, rec.Invalid)
		require.Equal(t, want.Events, rec.Events)
	})
}

func TestWriter_TickMakesDurableEverySecond(t *testing.T) {
	m := &journal.Memory{}
	w, err := journal.NewWriter(m, header())
	require.NoError(t, err)
	read := func() int {
		_, rec, err := journal.Read(bytes.NewReader(m.Synced()))
		require.NoError(t, err)
		return len(rec.Channels[rig.PumpSpeed].T)
	}
	for i := range 500 { // 10 s of a 20 ms cycle
		at := t0.Add(time.Duration(i) * 20 * time.Millisecond)
		require.NoError(t, w.Reading(rig.Reading{Time: at, Channel: rig.PumpSpeed, Status: spn.Valid}))
		require.NoError(t, w.Tick(at))
		require.LessOrEqual(t, i+1-read(), 50, "more than a second would be lost")
	}
	require.NoError(t, w.Tick(t0.Add(-time.Hour)), "a clock that was put back does not stop the syncing")
	require.Equal(t, 500, read())
}

func TestWriter_ErrorsStick(t *testing.T) {
	m := &journal.Memory{Limit: 2000}
	w, err := journal.NewWriter(m, header())
	require.NoError(t, err)
	for err == nil {
		err = errors.Join(w.Reading(rig.Reading{Time: t0, Channel: rig.PumpSpeed, Status: spn.Valid}), w.Flush())
	}
	require.ErrorIs(t, err, journal.ErrFull)
	n := len(m.Bytes())
	m.Limit = 0
	for _, err := range []error{w.Reading(rig.Reading{}), w.Command(t0, rig.SetVent, 1), w.StepStart(t0, 0, "", 0),
		w.StepEnd(t0, 0, samples.Done, ""), w.Event(t0, ""), w.Fault(samples.Fault{}), w.Trip(samples.Trip{}),
		w.Tick(t0), w.Flush(), w.End(t0, samples.Completed, 0), w.Close()} {
		require.ErrorIs(t, err, journal.ErrFull)
	}
	require.Len(t, m.Bytes(), n, "nothing is written behind a hole")
	h, rec, err := journal.Read(bytes.NewReader(m.Bytes()))
	require.NoError(t, err)
	require.Equal(t, samples.Interrupted, rec.Ended)
	require.Positive(t, h.Tail.Unreadable)
}

func TestWriter_NothingFollowsTheEnd(t *testing.T) {
	w, err := journal.NewWriter(&journal.Memory{}, header())
	require.NoError(t, err)
	require.NoError(t, w.End(t0, samples.Completed, 0))
	require.Error(t, w.Event(t0, "late"))
}

func TestNewWriter_RefusesWhatCannotBeReadBack(t *testing.T) {
	for name, spoil := range map[string]func(*journal.Header){
		"hours not a number": func(h *journal.Header) { h.UnitHours = math.NaN() },
		"endless serial":     func(h *journal.Header) { h.Serial = strings.Repeat("9", 10<<20) },
		"endless scenario":   func(h *journal.Header) { h.ScenarioText = make([]byte, journal.MaxText+1) },
	} {
		h := header()
		spoil(&h)
		m := &journal.Memory{}
		_, err := journal.NewWriter(m, h)
		require.Error(t, err, name)
		require.Empty(t, m.Bytes(), name)
	}
}

func TestWriter_LongTextIsCutAtARune(t *testing.T) {
	m := &journal.Memory{}
	w, err := journal.NewWriter(m, header())
	require.NoError(t, err)
	require.NoError(t, w.Event(t0, "x"+strings.Repeat("°", 5000)))
	require.NoError(t, w.Close())
	_, rec, err := journal.Read(bytes.NewReader(m.Bytes()))
	require.NoError(t, err)
	require.Equal(t, "x"+strings.Repeat("°", 2047), rec.Events[0].Text)
}

func TestRead_StepWithoutEndIsCutShort(t *testing.T) {
	m := &journal.Memory{}
	w, err := journal.NewWriter(m, header())
	require.NoError(t, err)
	require.NoError(t, w.StepStart(t0, 3, "hold", scenario.Hold))
	require.NoError(t, w.Event(t0.Add(time.Second), "lights out"))
	require.NoError(t, w.Flush())
	_, rec, err := journal.Read(bytes.NewReader(m.Bytes()))
	require.NoError(t, err)
	require.Equal(t, samples.StepRun{Index: 3, Name: "hold", Kind: scenario.Hold, Start: t0,
		End: t0.Add(time.Second), Outcome: samples.CutShort}, rec.Steps[0])
}

func FuzzRead(f *testing.F) {
	f.Add(small(f).Bytes())
	f.Add([]byte("\x89HFJ\r\n\x1a\n\x01\x00\x00\x00"))
	f.Fuzz(func(t *testing.T, b []byte) {
		h, rec, err := journal.Read(bytes.NewReader(b))
		if err != nil {
			return
		}
		n := 0
		for _, s := range rec.Channels {
			n += len(s.T)
		}
		require.LessOrEqual(t, 19*n, len(b), "more samples than the file can hold")
		require.LessOrEqual(t, h.Tail.Unreadable, int64(len(b)))
	})
}

func BenchmarkReading(b *testing.B) {
	w, err := journal.NewWriter(discard{}, header())
	require.NoError(b, err)
	b.ReportAllocs()
	i := 0
	for b.Loop() {
		i++
		at := t0.Add(time.Duration(i) * 2 * time.Millisecond)
		_ = w.Reading(rig.Reading{Time: at, Value: 9, Channel: rig.LinePressure, Status: spn.Valid})
		_ = w.Command(at, rig.SetPumpDrive, float64(i&7))
		if err := w.Tick(at); err != nil {
			b.Fatal(err)
		}
	}
}

type discard struct{}

func (discard) Write(p []byte) (int, error) { return len(p), nil }
func (discard) Sync() error                 { return nil }
