package transport_test

import (
	"fmt"
	"math/rand/v2"
	"runtime"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"
	"pgregory.net/rapid"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/id"
	"holdfast/j1939/transport"
)

// extendedFrame is a frame of ETP; the layouts are those of ../../../shared/facts/j1939/protocol.md, section 1.3,
// written out here a second time.
func extendedFrame(group uint32, source, destination uint8, b ...byte) (f can.Frame) {
	f.ID, f.IsExtended, f.Length = uint32(id.Must(7, group, destination, source)), true, 8
	f.Data = einride.Data{0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}
	copy(f.Data[:], b)
	return f
}

// splitExtended is a whole conversation of ETP in windows of some packets: RTS 20, CTS 21, DPO 22, EOMA 23.
func splitExtended(pgn uint32, source, destination uint8, data []byte, window int) (frames []can.Frame) {
	const cm, dt = 51200, 50944
	size, total := len(data), (len(data)+6)/7
	p := []byte{byte(pgn), byte(pgn >> 8), byte(pgn >> 16)}
	length := []byte{byte(size), byte(size >> 8), byte(size >> 16), byte(size >> 24)}
	frames = append(frames, extendedFrame(cm, source, destination, append(append([]byte{20}, length...), p...)...))
	for n := 0; n < total; n += window {
		count := min(window, total-n)
		next := n + 1
		frames = append(frames,
			extendedFrame(cm, destination, source, 21, byte(count), byte(next), byte(next>>8), byte(next>>16), p[0], p[1], p[2]),
			extendedFrame(cm, source, destination, 22, byte(count), byte(n), byte(n>>8), byte(n>>16), p[0], p[1], p[2]))
		for k := range count {
			from := (n + k) * 7
			frames = append(frames, extendedFrame(dt, source, destination,
				append([]byte{byte(k + 1)}, data[from:min(from+7, size)]...)...))
		}
	}
	return append(frames, extendedFrame(cm, destination, source, append(append([]byte{23}, length...), p...)...))
}

func TestReceiver_Extended(t *testing.T) {
	for _, size := range []int{1786, 1792, 20_000, 100_000, transport.MaxHeard} {
		for _, window := range []int{1, 16, 255} {
			if window == 1 && size > 20_000 {
				continue
			}
			t.Run(fmt.Sprintf("%d bytes by %d", size, window), func(t *testing.T) {
				var r transport.Receiver
				data, whole := payload(size), 0
				frames := splitExtended(61184, 3, 9, data, window)
				for i := range frames {
					m, event := r.Step(&frames[i], clock.Instant(i))
					if event == transport.Completed {
						whole++
						require.Equal(t, len(frames)-2, i)
						require.Equal(t, data, m.Data)
						require.Equal(t, transport.Message{PGN: 61184, Priority: 7, Source: 3, Destination: 9,
							Kind: transport.ETP, Data: data, Done: clock.Instant(i)}, *m)
					}
				}
				require.Equal(t, 1, whole)
				counts := r.Counts()
				require.Zero(t, counts.Lost())
				require.EqualValues(t, 1, counts[transport.Begun])
				require.EqualValues(t, len(frames)-2, counts[transport.Progress])
			})
		}
	}
}

// A listener beside two endpoints on a damaged path: it hears what is sent, repeats included. What the receiver has
// whole, the listener has whole; nothing else.
func TestReceiver_ExtendedBesideEndpoints(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := &path{random: rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1)), loss: 0.003, overtook: 0.01}
		a := p.add(1, transport.Options{})
		b := p.add(2, transport.Options{Window: rapid.Uint8Range(1, 255).Draw(t, "window")})
		data := payload(rapid.IntRange(1786, 6000).Draw(t, "size"))
		_, err := a.Open(0, transport.Outgoing{PGN: 61184, Destination: 2, Data: data})
		require.NoError(t, err)
		p.run(clock.Instant(time.Minute))
		var r transport.Receiver
		whole := 0
		for i := range p.sent {
			if m, event := r.Step(&can.Frame{Frame: p.sent[i]}, 0); event == transport.Completed {
				whole++
				require.Equal(t, data, m.Data)
			}
		}
		delivered := 0
		for _, o := range b.outcomes {
			if o.End == transport.Delivered {
				delivered++
			}
		}
		if delivered > 0 {
			require.Equal(t, 1, whole)
		}
		require.LessOrEqual(t, whole, 1)
	})
}

// Whatever one frame the listener misses: the right message or none, and a loss is counted.
func TestReceiver_ExtendedMissesOne(t *testing.T) {
	data := payload(2500)
	frames := splitExtended(61184, 3, 9, data, 100)
	for missed := range frames {
		var r transport.Receiver
		whole := 0
		for i := range frames {
			if i == missed {
				continue
			}
			if m, event := r.Step(&frames[i], 0); event == transport.Completed {
				whole++
				require.Equal(t, data, m.Data)
			}
		}
		r.Expire(clock.Instant(5 * time.Second))
		counts := r.Counts()
		switch {
		case missed == 0: // the request: nothing began
			require.Zero(t, whole)
			require.NotZero(t, counts[transport.Orphan])
		case id.ID(frames[missed].ID).Source() == 9: // CTS and end of message are not needed
			require.Equal(t, 1, whole, "frame %d", missed)
		default:
			require.Zero(t, whole, "frame %d", missed)
			require.EqualValues(t, 1, counts.Lost(), "frame %d: %v", missed, counts)
		}
	}
}

// The ends that are not deliveries.
func TestReceiver_ExtendedEnds(t *testing.T) {
	long := splitExtended(61184, 3, 9, payload(3000), 255)
	abort := extendedFrame(51200, 9, 3, 255, 2, 0xFF, 0xFF, 0xFF, 0, 0xEF, 0)
	other := extendedFrame(50944, 3, 9, 5, 1, 2, 3, 4, 5, 6, 7)
	far := extendedFrame(51200, 3, 9, 22, 10, 0x90, 0x01, 0, 0, 0xEF, 0)     // offset 400
	beyond := extendedFrame(51200, 3, 9, 22, 255, 0, 0xFF, 0xFF, 0, 0xEF, 0) // more than the message has
	tooLong := extendedFrame(51200, 3, 9, 20, 1, 0, 0x10, 0, 0, 0xEF, 0)     // 1 MiB and a byte
	short := extendedFrame(51200, 3, 9, 20, 0xF9, 6, 0, 0, 0, 0xEF, 0)       // 1785
	toAll := extendedFrame(51200, 3, id.Global, 20, 0, 16, 0, 0, 0, 0xEF, 0)
	for _, c := range []struct {
		name  string
		heard []can.Frame
		event transport.Event
	}{
		{"aborted by its receiver", append(long[:20:20], abort), transport.Aborted},
		{"begun again", append(long[:20:20], long[0]), transport.Replaced},
		{"a packet with other bytes under a number that is here", append(long[:20:20], other), transport.SequenceError},
		{"an offset behind what was missed", append(long[:20:20], far), transport.SequenceError},
		{"an offset behind the end", append(long[:3:3], beyond), transport.SequenceError},
		{"longer than is followed", []can.Frame{tooLong}, transport.TooLong},
		{"a size of the plain protocol", []can.Frame{short}, transport.Malformed},
		{"to everybody", []can.Frame{toAll}, transport.Malformed},
		{"a packet doubled", append(long[:20:20], long[19]), transport.Duplicate},
		{"a packet outside the window", append(long[:3:3], extendedFrame(50944, 3, 9, 0, 1)), transport.Malformed},
		{"a control byte of nobody", []can.Frame{extendedFrame(51200, 3, 9, 24)}, transport.Malformed},
	} {
		t.Run(c.name, func(t *testing.T) {
			var r transport.Receiver
			for i := range c.heard {
				r.Step(&c.heard[i], 0)
			}
			counts := r.Counts()
			require.EqualValues(t, 1, counts[c.event], "%v", counts)
		})
	}
}

// A hundred sources that together send more than is kept: the memory stays within the bound, and a short message
// of another one, under way all the while, is not harmed.
func TestReceiver_ExtendedFlood(t *testing.T) {
	var r transport.Receiver
	honest := splitExtended(61184, 253, 9, payload(20_000), 255)
	step := func(f *can.Frame) bool {
		_, event := r.Step(f, 0)
		return event == transport.Completed
	}
	for i := range honest[:1000] {
		require.False(t, step(&honest[i]))
	}
	flood := splitExtended(61184, 0, 9, payload(transport.MaxHeard), 255)
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	const sources, each = 100, 20_000 // frames: an eighth of a message
	for n := range each {
		for source := range sources {
			f := flood[n]
			f.ID = uint32(id.Must(7, id.ID(f.ID).PGN(), id.ID(f.ID).Destination(), uint8(source)))
			step(&f)
		}
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	counts := r.Counts()
	require.NotZero(t, counts[transport.Evicted], "%v", counts)
	require.Less(t, int(after.HeapAlloc)-int(before.HeapAlloc), transport.MaxHeardAll*5/4)
	whole := 0
	for i := 1000; i < len(honest); i++ {
		if step(&honest[i]) {
			whole++
		}
	}
	require.Equal(t, 1, whole)
	runtime.KeepAlive(&r)
}
