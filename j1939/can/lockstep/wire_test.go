package lockstep

import (
	"bytes"
	"encoding/hex"
	"io"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
)

// The bytes that the page in doc.go promises.
func TestWire_ExactBytes(t *testing.T) {
	var b bytes.Buffer
	l := link{out: &b}
	f := can.Frame{Time: 3}
	f.ID, f.IsExtended, f.Length = 0x0CFF10F9, true, 2
	f.Data[0], f.Data[1], f.Data[2] = 0xAA, 0xBB, 0xCC // the third is beyond its length
	require.NoError(t, l.sendFrames(kindGrant, 1, 2, []can.Frame{f}))
	require.Equal(t, "47000000"+"01000000"+"0100000000000000"+"0200000000000000"+
		"f910ff8c"+"02000000"+"aabb000000000000"+"0300000000000000", hex.EncodeToString(b.Bytes()))
	b.Reset()
	require.NoError(t, l.sendText(kindHello, -1, 1, []byte("seed=7\n")))
	require.Equal(t, "48000000"+"07000000"+"ffffffffffffffff"+"0100000000000000"+hex.EncodeToString([]byte("seed=7\n")),
		hex.EncodeToString(b.Bytes()))
}

func TestSetup_RoundTrip(t *testing.T) {
	seed := uint64(1<<64 - 1)
	s := Setup{Name: "bench of ours", Seed: &seed, Faults: map[string]float64{"a": 0.25, "b-c": 1e-9}, Unit: "controller",
		Set: map[string]string{"type": "long stroke", "x": ""}}
	got, err := ParseSetup(s.Text())
	require.NoError(t, err)
	require.Equal(t, s, got)
}

func TestParseSetup_Refuses(t *testing.T) {
	for text, want := range map[string]string{
		"seed=7":            "end with LF",
		"seed=-1\n":         "line 1: seed",
		"unit=bare\nx=1\n":  `line 2: key "x" is not known`,
		"unit=two\n":        "bare or controller",
		"fault=a=1.01\n":    "severity",
		"fault=a=NaN\n":     "severity",
		"fault=a\n":         "severity",
		"set=a\n":           "KEY=VALUE",
		"\n":                "is not key=value",
		"name=a\x1b[2Jb\n":  "is not key=value",
		"name=\xff\xfe\n\n": "UTF-8",
	} {
		_, err := ParseSetup([]byte(text))
		require.ErrorContains(t, err, want, "%q", text)
	}
}

// Whatever bytes come, reading a message does not panic, and what it takes for frames is written back the same.
func FuzzLink(f *testing.F) {
	var b bytes.Buffer
	l := link{out: &b}
	_ = l.sendFrames(kindReached, epoch, 0, []can.Frame{frame(1, 5), frame(2, 6)})
	f.Add(b.Bytes())
	b.Reset()
	_ = l.sendText(kindHello, 1, 1, []byte("seed=7\nfault=a=0.5\nset=k=v\n"))
	f.Add(b.Bytes())
	f.Add([]byte("R\x00\x00\x00\xff\xff\xff\xff"))
	f.Fuzz(func(t *testing.T, raw []byte) {
		l := link{in: bytes.NewReader(raw)}
		h, err := l.next()
		if err != nil {
			return
		}
		if h.kind != kindGrant && h.kind != kindReached {
			text, err := l.text(h)
			if err != nil {
				return
			}
			if s, err := ParseSetup(text); err == nil {
				again, err := ParseSetup(s.Text())
				require.NoError(t, err)
				require.Equal(t, s, again)
			}
			return
		}
		frames, err := l.frames(h, -1<<62, 1<<62, nil)
		if err != nil {
			return
		}
		var back bytes.Buffer
		l.out = &back
		require.NoError(t, l.send2(h, frames))
		require.Equal(t, raw[:back.Len()], back.Bytes())
		_, _ = io.Copy(io.Discard, &back)
	})
}

// send2 writes frames with the head they came with.
func (l *link) send2(h head, frames []can.Frame) error {
	l.begin(h)
	for i := range frames {
		l.raw = appendFrame(l.raw, &frames[i])
	}
	return l.send()
}
