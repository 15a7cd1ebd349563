package transport_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/id"
	"holdfast/j1939/transport"
)

// split makes the frames of a message, spaced 50 ms: the oracle is the layout drawn in protocol.go.
func split(pgn uint32, source, destination uint8, data []byte, begin clock.Instant) []can.Frame {
	packets := (len(data) + 6) / 7
	control := byte(32)
	if destination != id.Global {
		control = 16
	}
	make8 := func(group uint32, n int, b ...byte) (f can.Frame) {
		f.ID, f.IsExtended, f.Length = uint32(id.Must(7, group, destination, source)), true, 8
		for i := range f.Data {
			f.Data[i] = 0xFF
		}
		copy(f.Data[:], b)
		f.Time = begin.Add(time.Duration(n) * 50 * time.Millisecond)
		return f
	}
	frames := []can.Frame{make8(60416, 0, control, byte(len(data)), byte(len(data)>>8), byte(packets), 0xFF,
		byte(pgn), byte(pgn>>8), byte(pgn>>16))}
	for n := range packets {
		part := data[n*7 : min(n*7+7, len(data))]
		frames = append(frames, make8(60160, n+1, append([]byte{byte(n + 1)}, part...)...))
	}
	return frames
}

// Any number of messages from different nodes, mixed in any way that keeps each one's order, all come out.
func TestReceiver_Interleaved(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 12).Draw(t, "messages")
		queues := make([][]can.Frame, n)
		want := map[string]bool{}
		for k := range n {
			data := rapid.SliceOfN(rapid.Byte(), 9, 200).Draw(t, "data")
			destination := id.Global
			if rapid.Bool().Draw(t, "addressed") {
				destination = rapid.Uint8Range(100, 200).Draw(t, "destination")
			}
			queues[k] = split(61184, uint8(k), destination, data, 0)
			want[fmt.Sprintf("%d to %d: %x", k, destination, data)] = true
		}
		var r transport.Receiver
		for len(want) > 0 {
			k := rapid.IntRange(0, n-1).Draw(t, "next")
			for len(queues[k]) == 0 {
				k = (k + 1) % n
			}
			if m, event := r.Step(&queues[k][0], 0); event == transport.Completed {
				key := fmt.Sprintf("%d to %d: %x", m.Source, m.Destination, m.Data)
				require.True(t, want[key], key)
				delete(want, key)
			}
			queues[k] = queues[k][1:]
		}
	})
}

func TestReceiver_LongestMessage(t *testing.T) {
	data := make([]byte, transport.MaxSize)
	for i := range data {
		data[i] = byte(i * 7)
	}
	var r transport.Receiver
	var got []byte
	for _, f := range split(65226, 0, id.Global, data, 0) {
		if m, event := r.Step(&f, f.Time); event == transport.Completed {
			got = m.Data
		}
	}
	require.Equal(t, data, got)
}

// One source that opens conversations without end loses its own; another's stays.
func TestReceiver_FloodCostsTheFlooder(t *testing.T) {
	var r transport.Receiver
	data := make([]byte, 30)
	honest := split(61184, 1, 2, data, 0)
	r.Step(&honest[0], 0)
	for round := range 4 {
		for destination := range 200 {
			f := split(61184, 7, uint8(destination), data, 0)[0]
			_, event := r.Step(&f, clock.Instant(round))
			require.Equal(t, transport.Begun, event)
		}
	}
	completed := 0
	for _, f := range honest[1:] {
		if _, event := r.Step(&f, 0); event == transport.Completed {
			completed++
		}
	}
	require.Equal(t, 1, completed)
	counts := r.Counts()
	require.EqualValues(t, 4*200-transport.PairsPerSource, counts[transport.Evicted]+counts[transport.Replaced])
}

// A silent bus: the sessions go by themselves, and are counted.
func TestReceiver_Expire(t *testing.T) {
	var r transport.Receiver
	for _, destination := range []uint8{id.Global, 5} {
		f := split(61184, 1, destination, make([]byte, 20), 0)[0]
		r.Step(&f, 0)
	}
	r.Expire(clock.Instant(transport.T1))
	counts := r.Counts()
	require.Zero(t, counts[transport.TimedOut])
	r.Expire(clock.Instant(transport.T1 + 101*time.Millisecond))
	counts = r.Counts()
	require.EqualValues(t, 1, counts[transport.TimedOut], "the broadcast")
	r.Expire(clock.Instant(2 * time.Second))
	counts = r.Counts()
	require.EqualValues(t, 2, counts[transport.TimedOut])
}

// 200 broadcasts at once: no data packet allocates.
func TestReceiver_DoesNotAllocate(t *testing.T) {
	var r transport.Receiver
	queues := make([][]can.Frame, 200)
	for k := range queues {
		queues[k] = split(65226, uint8(k), id.Global, make([]byte, 700), 0)
	}
	step := func(from, to int) (completed int) {
		for n := from; n < to; n++ {
			for k := range queues {
				if _, event := r.Step(&queues[k][n], 0); event == transport.Completed {
					completed++
				}
			}
		}
		return completed
	}
	step(0, 1)
	total := 0
	require.Zero(t, testing.AllocsPerRun(1, func() { total += step(1, 101); step(0, 1) }))
	require.Equal(t, 2*200, total)
}

func BenchmarkReceiver_200Broadcasts(b *testing.B) {
	var r transport.Receiver
	queues := make([][]can.Frame, 200)
	for k := range queues {
		queues[k] = split(65226, uint8(k), id.Global, make([]byte, 700), 0)
	}
	b.ReportAllocs()
	frames := 0
	for b.Loop() {
		for n := range queues[0] {
			for k := range queues {
				r.Step(&queues[k][n], 0)
				frames++
			}
		}
	}
	b.ReportMetric(float64(frames)/b.Elapsed().Seconds()/1e6, "Mframes/s")
}

// Nothing panics, and what completes has the size that was announced.
func FuzzReceiver(f *testing.F) {
	for _, destination := range []uint8{id.Global, 9} {
		var seed []byte
		for _, fr := range split(65226, 3, destination, make([]byte, 20), 0) {
			seed = append(seed, byte(fr.ID>>16), byte(fr.ID>>8), byte(fr.ID), 10)
			seed = append(seed, fr.Data[:]...)
		}
		f.Add(seed)
	}
	var seed []byte
	for _, fr := range splitExtended(61184, 3, 1, make([]byte, 1786), 255) {
		seed = append(seed, byte(fr.ID>>16), byte(fr.ID>>8), byte(fr.ID), 10)
		seed = append(seed, fr.Data[:]...)
	}
	f.Add(seed)
	f.Fuzz(func(t *testing.T, script []byte) {
		var r transport.Receiver
		now := clock.Instant(0)
		for ; len(script) >= 12; script = script[12:] {
			var fr can.Frame
			fr.IsExtended = true
			fr.ID = uint32(0x1C)<<24 | uint32(script[0])<<16 | uint32(script[1])<<8 | uint32(script[2]&3)
			fr.Length = script[3] % 9
			copy(fr.Data[:], script[4:12])
			now = now.Add(time.Duration(script[3]>>4) * 100 * time.Millisecond)
			m, event := r.Step(&fr, now)
			r.Expire(now)
			if (m != nil) != (event == transport.Completed) {
				t.Fatalf("%v with message %v", event, m)
			}
			if m == nil {
				continue
			}
			least, most := transport.MinSize, transport.MaxSize
			if m.Kind == transport.ETP {
				least, most = transport.MinExtendedSize, transport.MaxHeard
			}
			if len(m.Data) < least || len(m.Data) > most {
				t.Fatalf("message of %d bytes by %v", len(m.Data), m.Kind)
			}
		}
	})
}
