package trace

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/diag"
	"holdfast/j1939/trace/tracegen"
	"holdfast/j1939/transport"
)

// generated decodes the traffic of a seed and returns the report with what it must be.
func generated(seed uint64, length time.Duration, pieces int) (Report, tracegen.Expected, uint64) {
	g := tracegen.New(seed, length)
	var d Decoder
	var s Summary
	frames := make([]can.Frame, pieces)
	for n := g.Fill(frames); n > 0; n = g.Fill(frames) {
		d.Feed(frames[:n], s.Add)
	}
	return s.Report(d.Counts()), g.Expected(), d.Counts().Frames
}

// The generator lays its bytes out by hand and keeps count: everything it sent is found, and nothing else.
func TestDecoder_FindsWhatWasSent(t *testing.T) {
	for seed := range uint64(4) {
		r, want, frames := generated(seed, 120*time.Second, 1+int(seed)*211)
		c := r.Counts
		require.Equal(t, want.Messages()+want.Standard+want.Remote+want.Errors, frames, "seed %d", seed)
		require.Equal(t, want.Messages(), c.Messages)
		require.Equal(t, []uint64{want.Standard, want.Remote, want.Errors},
			[]uint64{c.Standard, c.Remote, c.Errors})
		single := map[uint32]uint64{}
		whole := map[transport.Kind]map[uint32]uint64{transport.BAM: {}, transport.RTSCTS: {}}
		for _, g := range r.Groups {
			if g.Transport == transport.SingleFrame {
				single[g.PGN] += g.Messages
			} else {
				whole[g.Transport][g.PGN] += g.Messages
			}
		}
		require.Equal(t, want.Frames, single)
		require.Equal(t, want.Broadcasts, whole[transport.BAM])
		require.Equal(t, want.Conversations, whole[transport.RTSCTS])
		require.Equal(t,
			[]uint64{want.SequenceErrors, want.Orphans, want.TimedOut, want.Malformed, want.Aborted},
			[]uint64{c.Transport[transport.SequenceError], c.Transport[transport.Orphan],
				c.Transport[transport.TimedOut], c.Transport[transport.Malformed], c.Transport[transport.Aborted]})
		require.NotZero(t, want.TimedOut)
		checkValues(t, r, want)
	}
}

func checkValues(t *testing.T, r Report, want tracegen.Expected) {
	t.Helper()
	var codes uint64
	for _, f := range r.Faults {
		if f.Source == 0 {
			codes += f.Messages
		}
	}
	require.Equal(t, want.Faults, codes)
	for _, c := range []struct {
		pgn, spn uint32
		want     tracegen.Values
	}{{61444, 190, want.EngineSpeed}, {61475, 4334, want.DoserPressure}} {
		p := reported(t, r, c.pgn, c.spn)
		require.EqualValues(t, c.want.Count, p.Valid)
		require.EqualValues(t, []int{c.want.Min, c.want.Max, c.want.Last},
			[]int{int(p.Min), int(p.Max), int(p.Last)})
	}
	require.Equal(t, want.NOxErrors, reported(t, r, 61454, 3216).Errors)
}

func reported(t *testing.T, r Report, pgn, number uint32) ParameterReport {
	t.Helper()
	for _, g := range r.Groups {
		if g.PGN != pgn {
			continue
		}
		for _, p := range g.Parameters {
			if p.Parameter.SPN == number {
				return p
			}
		}
	}
	t.Fatalf("no SPN %d in PGN %d", number, pgn)
	return ParameterReport{}
}

// The same seed gives the same frames.
func TestGenerator_Repeats(t *testing.T) {
	require.Equal(t, tracegen.New(7, 20*time.Second).All(), tracegen.New(7, 20*time.Second).All())
}

// A report does not spend what it tells: a second one says the same.
func TestSummary_Report_Twice(t *testing.T) {
	var d Decoder
	var s Summary
	d.Feed(tracegen.New(3, 20*time.Second).All(), s.Add)
	first, second := s.Report(d.Counts()), s.Report(d.Counts())
	require.Equal(t, first, second)
	require.Equal(t, first.Text(), second.Text())
}

// A session on one bus does not mix with the same addresses on another.
func TestDecoder_ChannelsApart(t *testing.T) {
	var frames []can.Frame
	for _, f := range tracegen.New(1, 20*time.Second).All() {
		other := f
		other.Channel = 1
		frames = append(frames, f, other)
	}
	var d Decoder
	var s Summary
	d.Feed(frames, s.Add)
	r := s.Report(d.Counts())
	require.NotZero(t, r.Counts.Reassembled)
	require.Zero(t, r.Counts.Transport[transport.Replaced]+r.Counts.Transport[transport.Duplicate])
	half := len(r.Groups) / 2
	for i := range half {
		a, b := r.Groups[i], r.Groups[half+i]
		require.Equal(t, a.Messages, b.Messages)
		require.EqualValues(t, 0, a.Channel)
		require.EqualValues(t, 1, b.Channel)
	}
}

// Random identifiers without end: the memory of a summary stays bounded and the rest is counted.
func TestSummary_Bounded(t *testing.T) {
	var d Decoder
	var s Summary
	frames := make([]can.Frame, 1)
	for n := range 400_000 {
		f := &frames[0]
		f.IsExtended, f.Length, f.ID = true, 8, uint32(n)*2654435761%(1<<29)
		d.Feed(frames, s.Add)
	}
	require.NotZero(t, s.others)
	require.LessOrEqual(t, s.bytes, maxBytes+1<<15)
	require.Equal(t, uint64(400_000), s.others+messagesOf(s.Report(d.Counts()))-d.Counts().Reassembled)
}

func messagesOf(r Report) (n uint64) {
	for _, g := range r.Groups {
		n += g.Messages
	}
	return n
}

// Short data: the parameters in it are counted, those beyond it are not.
func TestSummary_ShortData(t *testing.T) {
	var d Decoder
	var s Summary
	f := can.Frame{}
	f.ID, f.IsExtended, f.Length = 0x0CF00400, true, 4
	f.Data = [8]byte{0xF0, 0x7D, 0x7E, 0x10, 0x20}
	d.Feed([]can.Frame{f, f, f}, s.Add)
	r := s.Report(d.Counts())
	require.EqualValues(t, 3, reported(t, r, 61444, 513).Valid)
	speed := reported(t, r, 61444, 190)
	require.Zero(t, speed.Valid+speed.NotAvailable+speed.Errors+speed.Reserved)
}

// In steady state nothing is allocated for a frame, whatever is made of it.
func TestFeed_DoesNotAllocate(t *testing.T) {
	frames := tracegen.New(2, 60*time.Second).All()
	var j JSON
	var s Summary
	lines := make([]byte, 0, 1<<22)
	for name, show := range map[string]func(*Message){
		"summary": s.Add,
		"json":    func(m *Message) { lines = j.Append(lines[:0], m) },
	} {
		t.Run(name, func(t *testing.T) {
			var d Decoder
			run := func() {
				for at := 0; at < len(frames); at += 1024 {
					d.Feed(frames[at:min(at+1024, len(frames))], show)
				}
			}
			run() // the first messages of a group make its tables
			require.Zero(t, testing.AllocsPerRun(3, run), "of %d frames", len(frames))
		})
	}
}

// The fault list of a source is counted however often the same data comes.
func TestSummary_RepeatedFaults(t *testing.T) {
	var d Decoder
	var s Summary
	var f can.Frame
	f.ID, f.IsExtended, f.Length = 0x18FECA3D, true, 8
	f.Data = [8]byte{0x04, 0xFF, 0xEE, 0x10, 0x12, 0x03, 0xFF, 0xFF}
	d.Feed([]can.Frame{f, f, f, f}, s.Add)
	r := s.Report(d.Counts())
	require.Len(t, r.Faults, 1)
	require.Equal(t, diag.DTC{SPN: 4334, FMI: 18, Count: 3, Version: diag.Version4}, r.Faults[0].DTC)
	require.EqualValues(t, 4, r.Faults[0].Messages)
}
