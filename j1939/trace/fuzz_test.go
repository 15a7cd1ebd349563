package trace

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"testing"
	"time"
	"unicode/utf8"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/trace/tracegen"
)

// A frame in the fuzzer's bytes: identifier with the kernel's flags for extended, remote and error frames, step of
// time in ms, length, channel, data.
const fuzzedFrame = 16

func framesFrom(stream []byte) (frames []can.Frame) {
	at := clock.Instant(0)
	for ; len(stream) >= fuzzedFrame; stream = stream[fuzzedFrame:] {
		var f can.Frame
		number := binary.LittleEndian.Uint32(stream)
		f.IsExtended, f.IsRemote, f.Error = number>>31 == 1, number>>30&1 == 1, number>>29&1 == 1
		f.ID = number & 0x1FFFFFFF
		at = at.Add(time.Duration(binary.LittleEndian.Uint16(stream[4:])) * time.Millisecond)
		f.Time, f.Length, f.Channel = at, stream[6]%9, stream[7]%3
		copy(f.Data[:], stream[8:fuzzedFrame])
		frames = append(frames, f)
	}
	return frames
}

func bytesOf(frames []can.Frame) (stream []byte) {
	last := frames[0].Time
	for _, f := range frames {
		number := f.ID
		for bit, set := range map[int]bool{31: f.IsExtended, 30: f.IsRemote, 29: f.Error} {
			if set {
				number |= 1 << bit
			}
		}
		stream = binary.LittleEndian.AppendUint32(stream, number)
		stream = binary.LittleEndian.AppendUint16(stream, uint16(time.Duration(f.Time-last)/time.Millisecond))
		stream = append(append(stream, f.Length, f.Channel), f.Data[:]...)
		last = f.Time
	}
	return stream
}

// Whatever is heard: every line is one line of text without control characters or one JSON object, and
// the counts add up.
func FuzzFeed(f *testing.F) {
	f.Add(bytesOf(tracegen.New(1, 20*time.Second).All()[:24]))
	own := own(f)
	f.Fuzz(func(t *testing.T, stream []byte) {
		if len(stream) > 1<<14 {
			return
		}
		frames := framesFrom(stream)
		d := Decoder{OneBus: len(stream)%2 == 1}
		text, lines, s := Text{Known: Known{Own: own}}, JSON{Known: Known{Own: own}}, Summary{Known: Known{Own: own}}
		d.Feed(frames, func(m *Message) {
			line := text.Append(nil, m)
			if end := len(line) - 1; line[end] != '\n' || !utf8.Valid(line) || bytes.ContainsFunc(line[:end], control) {
				t.Fatalf("%q", line)
			}
			if line := lines.Append(nil, m); !json.Valid(line) {
				t.Fatalf("%s", line)
			}
			s.Add(m)
		})
		r := s.Report(d.Counts())
		total := r.Others
		for _, g := range r.Groups {
			total += g.Messages
		}
		if c := r.Counts; total != c.Messages+c.Reassembled || c.Frames != c.Messages+c.Standard+c.Remote+c.Errors {
			t.Fatalf("%d messages in groups of %+v", total, c)
		}
		if out, err := r.JSON(); err != nil || !json.Valid(out) {
			t.Fatal(err)
		}
		if !utf8.ValidString(r.Text()) {
			t.Fatal("the report is no text")
		}
	})
}

func control(r rune) bool { return r < ' ' || r >= 0x7F && r < 0xA0 }
