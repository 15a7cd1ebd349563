package trace

import (
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/id"
	"holdfast/j1939/spn"
	"holdfast/j1939/transport"
)

// Message is one J1939 message as it was heard. It and its Data are valid only during the call that
// shows it.
type Message struct {
	Time        clock.Instant // of the frame; of the last packet when several carried it
	PGN         uint32
	Priority    uint8
	Source      uint8
	Destination uint8
	Channel     uint8
	Transport   transport.Kind // SingleFrame, BAM or RTSCTS
	Data        []byte

	plan *plan
}

// Group is the message's entry in the catalogue; nil when it has none.
func (m *Message) Group() *spn.Message { return m.plan.group }

// Counts is what a Decoder has heard.
type Counts struct {
	Frames      uint64 // all of them
	Standard    uint64 // data frames with 11-bit identifiers
	Remote      uint64
	Errors      uint64 // error frames
	Messages    uint64 // 29-bit data frames: one message each
	Reassembled uint64 // messages that several frames carried
	Transport   transport.Counts
}

// Decoder finds the messages in a stream of frames. The zero value is ready.
type Decoder struct {
	// OneBus takes the interfaces of a recording for one bus. Otherwise a session that is heard on
	// two of them is two sessions, because addresses mean something on one bus only.
	OneBus bool

	counts    Counts
	receivers [256]*transport.Receiver // one for each channel: a session never crosses two buses
	message   Message
}

// Counts tells what has been heard so far.
func (d *Decoder) Counts() Counts {
	c := d.counts
	for _, r := range d.receivers {
		if r != nil {
			t := r.Counts()
			c.Transport.Add(&t)
		}
	}
	return c
}

// Feed takes frames in the order they were heard and shows every message in them.
func (d *Decoder) Feed(frames []can.Frame, show func(*Message)) {
	all := compiled()
	m := &d.message
	d.counts.Frames += uint64(len(frames))
	for i := range frames {
		f := &frames[i]
		if !f.IsExtended || f.IsRemote || f.Error {
			d.skip(f)
			continue
		}
		d.counts.Messages++
		number := id.ID(f.ID)
		m.Time, m.Channel, m.Transport = f.Time, f.Channel, transport.SingleFrame
		if d.OneBus {
			m.Channel = 0
		}
		m.PGN, m.Priority = number.PGN(), number.Priority()
		m.Source, m.Destination = number.Source(), number.Destination()
		m.Data = f.Data[:min(f.Length, 8)]
		m.plan = all.plan(m.PGN, m.Data)
		show(m)
		if m.plan.transport {
			d.reassemble(f, show)
		}
	}
	d.expire(frames)
}

func (d *Decoder) skip(f *can.Frame) {
	switch {
	case f.Error:
		d.counts.Errors++
	case f.IsRemote:
		d.counts.Remote++
	default:
		d.counts.Standard++
	}
}

func (d *Decoder) reassemble(f *can.Frame, show func(*Message)) {
	r := d.receivers[d.message.Channel]
	if r == nil {
		r = new(transport.Receiver)
		d.receivers[d.message.Channel] = r
	}
	whole, event := r.Step(f, f.Time)
	if event != transport.Completed {
		return
	}
	d.counts.Reassembled++
	m := &d.message
	m.PGN, m.Priority, m.Source, m.Destination = whole.PGN, whole.Priority, whole.Source, whole.Destination
	m.Transport, m.Data = whole.Kind, whole.Data
	m.plan = compiled().plan(m.PGN, m.Data)
	show(m)
}

// expire drops silent sessions as of the last frame's time.
func (d *Decoder) expire(frames []can.Frame) {
	if len(frames) == 0 {
		return
	}
	for _, r := range d.receivers {
		if r != nil {
			r.Expire(frames[len(frames)-1].Time)
		}
	}
}
