package lockstep

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// Kinds of messages; see the package's doc.
const (
	kindHello   = 'H'
	kindWelcome = 'W'
	kindGrant   = 'G'
	kindReached = 'R'
	kindEnd     = 'E'
	kindTruth   = 'T'
	kindRefused = 'X'
)

// Layout of a head and of a frame.
const (
	headSize  = 24
	headKind  = 0
	headCount = 4
	headA     = 8
	headB     = 16

	frameSize   = 24
	frameID     = 0
	frameLength = 4
	frameData   = 8
	frameTime   = 16
)

// Flags beside an identifier (Linux include/uapi/linux/can.h).
const (
	flagExtended = 1 << 31
	flagRemote   = 1 << 30
)

// Limits of what one message may hold.
const (
	FramesMax = 4096    // of a grant and its answer
	TextMax   = 1 << 16 // bytes of hello, welcome and refusal
	StoryMax  = 1 << 20 // bytes of end
	TruthMax  = 4 << 20 // bytes of truth
)

// Limits of a grant: how far it may ask a peer to go before it answers, and how far it may go at all.
const (
	atLeastMax = 20 * time.Millisecond
	untilMax   = time.Second
)

// itemsMax is how many items a message of each kind may have; 0 for a kind that does not exist.
func itemsMax(kind byte) uint32 {
	switch kind {
	case kindHello, kindWelcome, kindRefused:
		return TextMax
	case kindGrant, kindReached:
		return FramesMax
	case kindEnd:
		return StoryMax
	case kindTruth:
		return TruthMax
	}
	return 0
}

// head begins every message.
type head struct {
	kind  byte
	count uint32 // of items
	a, b  int64
}

func (h *head) put(raw []byte) {
	clear(raw[:headSize])
	raw[headKind] = h.kind
	binary.LittleEndian.PutUint32(raw[headCount:], h.count)
	binary.LittleEndian.PutUint64(raw[headA:], uint64(h.a))
	binary.LittleEndian.PutUint64(raw[headB:], uint64(h.b))
}

// takeHead reads a head and refuses a kind that does not exist and more items than its kind may have.
func takeHead(raw []byte) (head, error) {
	h := head{kind: raw[headKind], count: binary.LittleEndian.Uint32(raw[headCount:]),
		a: int64(binary.LittleEndian.Uint64(raw[headA:])), b: int64(binary.LittleEndian.Uint64(raw[headB:]))}
	most := itemsMax(h.kind)
	switch {
	case most == 0 || raw[1]|raw[2]|raw[3] != 0:
		return head{}, fmt.Errorf("bytes %q do not begin a message of this protocol", raw[:4])
	case h.count > most:
		return head{}, fmt.Errorf("message %c has %d items; at most %d are allowed", h.kind, h.count, most)
	}
	return h, nil
}

// appendFrame appends a frame in its 24 bytes.
func appendFrame(raw []byte, f *can.Frame) []byte {
	id := f.ID
	if f.IsExtended {
		id |= flagExtended
	}
	if f.IsRemote {
		id |= flagRemote
	}
	raw = binary.LittleEndian.AppendUint32(raw, id)
	raw = append(raw, f.Length, 0, 0, 0)
	data := f.Data
	clear(data[min(f.Length, 8):])
	raw = append(raw, data[:]...)
	return binary.LittleEndian.AppendUint64(raw, uint64(f.Time))
}

// takeFrame reads a frame back and refuses what is not a classic CAN frame.
func takeFrame(raw []byte) (f can.Frame, err error) {
	id := binary.LittleEndian.Uint32(raw[frameID:])
	f.IsExtended, f.IsRemote = id&flagExtended != 0, id&flagRemote != 0
	f.ID, f.Length = id&^(flagExtended|flagRemote), raw[frameLength]
	if err := f.Validate(); err != nil {
		return can.Frame{}, err
	}
	copy(f.Data[:], raw[frameData:frameData+8])
	rest := f.Data
	clear(rest[:f.Length])
	if raw[5]|raw[6]|raw[7] != 0 || rest != (einride.Data{}) || f.IsRemote && f.Data != (einride.Data{}) {
		return can.Frame{}, errors.New("bytes of a frame that must be zero are not")
	}
	f.Time = clock.Instant(binary.LittleEndian.Uint64(raw[frameTime:]))
	return f, nil
}

// link is one end of a connection: it reads and writes whole messages and allocates nothing for grants.
type link struct {
	in   io.Reader // buffered
	out  io.Writer
	head [headSize]byte
	item [frameSize]byte
	raw  []byte // a message being written
}

// begin starts a message whose items are appended to raw.
func (l *link) begin(h head) {
	l.raw = append(l.raw[:0], make([]byte, headSize)...)
	h.put(l.raw)
}

// send writes the message in raw, all at once.
func (l *link) send() error {
	_, err := l.out.Write(l.raw)
	return err
}

func (l *link) sendText(kind byte, a, b int64, text []byte) error {
	l.begin(head{kind: kind, count: uint32(len(text)), a: a, b: b})
	l.raw = append(l.raw, text...)
	return l.send()
}

func (l *link) sendFrames(kind byte, a, b clock.Instant, frames []can.Frame) error {
	l.begin(head{kind: kind, count: uint32(len(frames)), a: int64(a), b: int64(b)})
	for i := range frames {
		l.raw = appendFrame(l.raw, &frames[i])
	}
	return l.send()
}

// next reads the head of the next message.
func (l *link) next() (head, error) {
	if _, err := io.ReadFull(l.in, l.head[:]); err != nil {
		return head{}, err
	}
	return takeHead(l.head[:])
}

// text reads the items of a message of text. What a peer claims to send is taken as it comes, so that a claim
// alone costs no memory.
func (l *link) text(h head) ([]byte, error) {
	text, err := io.ReadAll(io.LimitReader(l.in, int64(h.count)))
	if err == nil && len(text) < int(h.count) {
		err = io.ErrUnexpectedEOF
	}
	return text, err
}

// frames reads the items of a message of frames, appends them to dst and holds their times between from and to.
func (l *link) frames(h head, from, to clock.Instant, dst []can.Frame) ([]can.Frame, error) {
	for i := range h.count {
		if _, err := io.ReadFull(l.in, l.item[:]); err != nil {
			return dst, err
		}
		f, err := takeFrame(l.item[:])
		if err != nil {
			return dst, fmt.Errorf("frame %d of %d: %w", i+1, h.count, err)
		}
		if f.Time < from || f.Time > to {
			return dst, fmt.Errorf("frame %d of %d is of %d ns; %d to %d would do",
				i+1, h.count, f.Time, from, to)
		}
		from = f.Time
		dst = append(dst, f)
	}
	return dst, nil
}
