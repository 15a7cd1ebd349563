package main

import (
	"bytes"
	"encoding/binary"
	"io"
	"net"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/sim/other/node"
)

const startNS = int64(1_700_000_000_000_000_000)

// harness is a scripted one for tests: it grants 20 ms at a time and sends its outputs with each.
type harness struct {
	t       testing.TB
	conn    net.Conn
	now     int64 // ns since the start
	counter byte
	heard   []node.Frame
	bytes   bytes.Buffer // of what came back
	err     chan error
}

func dial(t testing.TB, hello string) *harness {
	here, there := net.Pipe()
	h := &harness{t: t, conn: here, err: make(chan error, 1)}
	go func() {
		h.err <- serve(asked{seed: 1, kind: "reference", spread: true}, there)
		_ = there.Close()
	}()
	require.NoError(t, write(here, message{kind: 'H', a: startNS, b: 1, text: []byte(hello)}, 0))
	return h
}

// answer reads one message of the peer; frames come with times since the start.
func (h *harness) answer() message {
	var head [headLen]byte
	_, err := io.ReadFull(h.conn, head[:])
	require.NoError(h.t, err)
	m := message{kind: head[0], a: int64(binary.LittleEndian.Uint64(head[8:]))}
	n := int(binary.LittleEndian.Uint32(head[4:]))
	if m.kind != 'R' {
		m.text = make([]byte, n)
		_, err = io.ReadFull(h.conn, m.text)
		require.NoError(h.t, err)
		return m
	}
	raw := make([]byte, n*frameLen)
	_, err = io.ReadFull(h.conn, raw)
	require.NoError(h.t, err)
	h.bytes.Write(raw)
	for ; len(raw) > 0; raw = raw[frameLen:] {
		f := node.Frame{ID: binary.LittleEndian.Uint32(raw) & 0x1fffffff, Len: int(raw[4]),
			At: int64(binary.LittleEndian.Uint64(raw[16:])) - startNS}
		copy(f.Data[:], raw[8:16])
		m.frames = append(m.frames, f)
	}
	return m
}

// outs are the outputs as a message.
type outs struct {
	drive, duty                     float64 // %
	back, shut, heater, power, vent byte
}

func (h *harness) frame(o outs) node.Frame {
	h.counter = (h.counter + 1) & 15
	f := node.Frame{ID: node.OutputsID, Len: 8}
	drive, duty := uint16(o.drive*100), uint16(o.duty*100)
	f.Data = [8]byte{byte(drive), byte(drive >> 8), byte(duty), byte(duty >> 8),
		o.back | o.shut<<2 | o.heater<<4 | o.power<<6,
		o.vent | 0xfc, 0xff, h.counter | 0xf0}
	return f
}

// grant lets the peer go on by 20 ms, or to its first frame from 1 ms on.
func (h *harness) grant(frames ...node.Frame) []node.Frame {
	require.NoError(h.t, write(h.conn, message{kind: 'G', a: startNS + h.now + 20e6, b: startNS + h.now + 20e6,
		frames: frames}, startNS))
	m := h.answer()
	require.Equal(h.t, byte('R'), m.kind, string(m.text))
	last := h.now
	for _, f := range m.frames {
		require.GreaterOrEqual(h.t, f.At, last)
		last = f.At
	}
	require.LessOrEqual(h.t, last, m.a-startNS)
	h.now = m.a - startNS
	h.heard = append(h.heard, m.frames...)
	return m.frames
}

func (h *harness) run(o outs, seconds float64) {
	for end := h.now + int64(seconds*1e9); h.now < end; {
		h.grant(h.frame(o))
	}
}

// last is the newest message with an identifier.
func (h *harness) last(id uint32) node.Frame {
	for i := len(h.heard) - 1; i >= 0; i-- {
		if h.heard[i].ID == id {
			return h.heard[i]
		}
	}
	h.t.Fatalf("no message %x yet", id)
	return node.Frame{}
}

func (h *harness) gauge() float64 { // bar absolute
	f := h.last(node.HydraulicsID)
	return float64(uint16(f.Data[2])|uint16(f.Data[3])<<8) * 0.05 / 100
}

func (h *harness) enabled() byte { return h.last(node.ScaleID).Data[7] >> 6 }

// script is a short run that moves everything.
func (h *harness) script() {
	h.run(outs{power: 1, vent: 1}, 1)
	h.run(outs{power: 1, heater: 1, back: 1}, 1)
	h.run(outs{power: 1, drive: 60}, 22)
	h.run(outs{power: 1, drive: 45}, 6)
	h.run(outs{power: 1, drive: 55, duty: 40}, 4)
	h.run(outs{power: 1, shut: 1}, 4)
	h.run(outs{power: 1, drive: 60, duty: 20, back: 1}, 5)
}

// TestServe: the same hello gives the same bytes, another seed others; the messages come as often as the DBC
// says.
func TestServe(t *testing.T) {
	run := func(hello string) *harness {
		h := dial(t, hello)
		w := h.answer()
		require.Equal(t, byte('W'), w.kind, string(w.text))
		h.script()
		require.NoError(t, write(h.conn, message{kind: 'E'}, 0))
		require.NoError(t, <-h.err)
		return h
	}
	first := run("seed=3\nfault=membrane-split=0.5\nunit=bare\n")
	require.True(t, bytes.Equal(first.bytes.Bytes(), run("seed=3\nfault=membrane-split=0.5\n").bytes.Bytes()))
	require.False(t, bytes.Equal(first.bytes.Bytes(), run("seed=4\n").bytes.Bytes()))
	count := map[uint32]int{}
	for _, f := range first.heard {
		count[f.ID]++
	}
	seconds := float64(first.now) / 1e9
	for id, hz := range map[uint32]float64{node.HydraulicsID: 100, node.ElectricsID: 50, node.ScaleID: 10,
		node.AmbientID: 1} {
		require.InDelta(t, hz*seconds, float64(count[id]), 2, "%x", id)
	}
}

// TestRefused: what is not known is refused, not simulated as something else.
func TestRefused(t *testing.T) {
	for _, hello := range []string{"fault=gremlins=0.5\n", "fault=membrane-split=2\n", "unit=twin\n",
		"set=colour=red\n",
		"set=type=giant\n", "seed=x\n", "colour=red\n", "what"} {
		h := dial(t, hello)
		require.Equal(t, byte('X'), h.answer().kind, hello)
		require.Error(t, <-h.err)
	}
}

// TestSafeState: silence, or a counter that stands still, takes everything to the safe state within 200 ms;
// five good messages bring the outputs back.
func TestSafeState(t *testing.T) {
	for name, after := range map[string]func(h *harness, stuck node.Frame){
		"silence":       func(h *harness, _ node.Frame) { h.grant() },
		"stuck counter": func(h *harness, stuck node.Frame) { h.grant(stuck) },
		"too much":      func(h *harness, _ node.Frame) { f := h.frame(outs{}); f.Data[1] = 0xc0; h.grant(f) },
	} {
		t.Run(name, func(t *testing.T) {
			h := dial(t, "set=spread=no\n")
			h.answer()
			for i := range 8 {
				h.grant(h.frame(outs{power: 1, drive: 60}))
				if i == 5 { // the newest message may be 100 ms old
					require.Equal(t, byte(0), h.enabled(), "before the fifth message")
				}
			}
			h.run(outs{power: 1, drive: 60}, 23)
			require.Equal(t, byte(1), h.enabled())
			require.Greater(t, h.gauge(), 4.0)
			stuck := h.frame(outs{power: 1, drive: 60})
			h.grant(stuck)
			for range 8 {
				after(h, stuck)
			}
			h.run(outs{}, 0.02) // one more message is not enough
			for range 16 {
				after(h, stuck)
			}
			require.Equal(t, byte(0), h.enabled())
			for range 200 {
				after(h, stuck)
			}
			speed := h.last(node.HydraulicsID)
			require.Equal(t, [2]byte{0, 0}, [2]byte(speed.Data[6:8]), "the pump has come to rest")
			for range 12 {
				h.grant(h.frame(outs{power: 1}))
			}
			require.Equal(t, byte(1), h.enabled())
			_ = h.conn.Close()
			require.Error(t, <-h.err)
		})
	}
}

// BenchmarkRun is a run of 43 s.
func BenchmarkRun(b *testing.B) {
	for b.Loop() {
		h := dial(b, "seed=3\n")
		h.answer()
		h.script()
		_ = h.conn.Close()
		<-h.err
	}
}

// FuzzRead: whatever comes over the wire is a message or an error.
func FuzzRead(f *testing.F) {
	var b bytes.Buffer
	_ = write(&b, message{kind: 'G', a: 2, b: 1, frames: []node.Frame{{ID: node.OutputsID, Len: 8}}}, 0)
	f.Add(b.Bytes())
	f.Add([]byte("H\x00\x00\x00\x05\x00\x00\x00\x01\x00\x00\x00\x00\x00\x00\x00\x01\x00\x00\x00\x00\x00\x00\x00seed="))
	f.Fuzz(func(t *testing.T, raw []byte) {
		m, err := read(bytes.NewReader(raw))
		if err == nil {
			require.LessOrEqual(t, len(m.frames)*frameLen+len(m.text)+headLen, len(raw))
		}
		_, _ = asked{kind: "reference"}.parse(string(raw))
	})
}
