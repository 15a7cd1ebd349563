package main

import (
	"encoding/binary"
	"fmt"
	"io"

	"holdfast/sim/other/node"
)

// The lock-step bus from its page alone: heads of 24 bytes, little endian, then bytes of text or frames of 24
// bytes each.
const (
	headLen   = 24
	frameLen  = 24
	mostFrame = 4096
	mostText  = 1 << 20
	extended  = 1 << 31
)

type message struct {
	kind   byte
	a, b   int64
	text   []byte
	frames []node.Frame
}

func read(r io.Reader) (message, error) {
	var head [headLen]byte
	if _, err := io.ReadFull(r, head[:]); err != nil {
		return message{}, err
	}
	m := message{kind: head[0], a: int64(binary.LittleEndian.Uint64(head[8:])),
		b: int64(binary.LittleEndian.Uint64(head[16:]))}
	n := int(binary.LittleEndian.Uint32(head[4:]))
	if m.kind != 'G' {
		if n > mostText {
			return m, fmt.Errorf("message %q of %d bytes; at most %d", m.kind, n, mostText)
		}
		m.text = make([]byte, n)
		_, err := io.ReadFull(r, m.text)
		return m, err
	}
	if n > mostFrame {
		return m, fmt.Errorf("grant with %d frames; at most %d", n, mostFrame)
	}
	raw := make([]byte, n*frameLen)
	if _, err := io.ReadFull(r, raw); err != nil {
		return m, err
	}
	for ; len(raw) > 0; raw = raw[frameLen:] {
		id := binary.LittleEndian.Uint32(raw)
		if id&extended == 0 || raw[4] > 8 {
			continue // the node listens to 29-bit data frames
		}
		f := node.Frame{ID: id & 0x1fffffff, Len: int(raw[4]), At: int64(binary.LittleEndian.Uint64(raw[16:]))}
		copy(f.Data[:], raw[8:16])
		m.frames = append(m.frames, f)
	}
	return m, nil
}

// write sends a message; the times of its frames are counted from start, ns.
func write(w io.Writer, m message, start int64) error {
	n := len(m.text) + len(m.frames)
	out := make([]byte, headLen, headLen+len(m.text)+len(m.frames)*frameLen)
	out[0] = m.kind
	binary.LittleEndian.PutUint32(out[4:], uint32(n))
	binary.LittleEndian.PutUint64(out[8:], uint64(m.a))
	binary.LittleEndian.PutUint64(out[16:], uint64(m.b))
	out = append(out, m.text...)
	for _, f := range m.frames {
		var item [frameLen]byte
		binary.LittleEndian.PutUint32(item[:], f.ID|extended)
		item[4] = byte(f.Len)
		copy(item[8:16], f.Data[:])
		binary.LittleEndian.PutUint64(item[16:], uint64(start+f.At))
		out = append(out, item[:]...)
	}
	_, err := w.Write(out)
	return err
}
