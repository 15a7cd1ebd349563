package diag

import (
	"encoding/json"
	"fmt"
)

// BroadcastState is what DM13 asks of one data link.
type BroadcastState uint8

const (
	StopBroadcast  BroadcastState = 0
	StartBroadcast BroadcastState = 1
	NoChange       BroadcastState = 3 // take no action
)

// Link is a data link of DM13.
type Link uint8

// Links in the order of their bits, the lowest first.
const (
	J1939Network1 Link = iota
	J1922
	J1587
	CurrentLink
	OtherPort
	J1850
	ISO9141
	J1939Network2
	J1939Network4
	ProprietaryNetwork2
	ProprietaryNetwork1
	J1939Network3
	links
)

var linkNames = [links]string{"J1939 network 1", "J1922", "J1587", "current data link", "other port", "J1850",
	"ISO 9141", "J1939 network 2", "J1939 network 4", "proprietary network 2", "proprietary network 1",
	"J1939 network 3"}

func (l Link) String() string {
	if l < links {
		return linkNames[l]
	}
	return fmt.Sprintf("link %d", uint8(l))
}

// Signals of DM13 that are not sent.
const (
	NoHold     uint8  = 15
	NoSuspend  uint8  = 15
	NoDuration uint16 = 0xFFFF
)

// Broadcast is DM13: stop and start the broadcast of data links. The zero value stops all of
// them: begin with NewBroadcast.
type Broadcast struct {
	Links    [links]BroadcastState
	Hold     uint8  // 0 all devices, 1 devices whose state was changed; NoHold
	Suspend  uint8  // 0 all, 1 some, 2 all for a time, 3 some for a time, 14 resuming; NoSuspend
	Duration uint16 // of the suspension, s; above 64255: not given
}

// NewBroadcast changes nothing.
func NewBroadcast() Broadcast {
	b := Broadcast{Hold: NoHold, Suspend: NoSuspend, Duration: NoDuration}
	for i := range b.Links {
		b.Links[i] = NoChange
	}
	return b
}

const broadcastLength = 6

// DecodeBroadcast reads DM13.
func DecodeBroadcast(data []byte) (Broadcast, error) {
	if len(data) < broadcastLength {
		return Broadcast{}, short("DM13", data, broadcastLength)
	}
	b := Broadcast{Suspend: data[3] & 15, Hold: data[3] >> 4, Duration: uint16(word(data[4:]))}
	for i := range b.Links {
		b.Links[i] = BroadcastState(data[i/4] >> (2 * (i % 4)) & 3)
	}
	return b, nil
}

// Encode returns the eight bytes.
func (b Broadcast) Encode() ([8]byte, error) {
	d := [8]byte{4: byte(b.Duration), 5: byte(b.Duration >> 8), 6: 0xFF, 7: 0xFF}
	if b.Hold > 15 || b.Suspend > 15 {
		return d, fmt.Errorf("encode DM13: hold %d or suspend %d does not fit 4 bits", b.Hold, b.Suspend)
	}
	for i, state := range b.Links {
		if state > NoChange {
			return d, fmt.Errorf("encode DM13: state %d of %s does not fit 2 bits", state, Link(i))
		}
		d[i/4] |= byte(state) << (2 * (i % 4))
	}
	d[3] = b.Suspend | b.Hold<<4
	return d, nil
}

var suspendTexts = [16]string{0: "all broadcasts suspended", 1: "some broadcasts suspended",
	2: "all broadcasts suspended for a time", 3: "some broadcasts suspended for a time", 14: "resuming"}

// words is what the message says, one phrase each; none when it says nothing.
func (b Broadcast) words() []string {
	var said []string
	for i, state := range b.Links {
		switch state {
		case StopBroadcast:
			said = append(said, "stop "+linkNames[i])
		case StartBroadcast:
			said = append(said, "start "+linkNames[i])
		}
	}
	switch b.Hold {
	case 0:
		said = append(said, "all devices hold")
	case 1:
		said = append(said, "devices that changed hold")
	}
	if text := suspendTexts[b.Suspend&15]; text != "" {
		said = append(said, text)
	}
	if b.Duration <= topOfRange {
		said = append(said, fmt.Sprintf("for %d s", b.Duration))
	}
	return said
}

// AppendText implements Message.
func (b Broadcast) AppendText(dst []byte) []byte {
	said := b.words()
	if len(said) == 0 {
		return append(dst, "no change"...)
	}
	for i, s := range said {
		if i > 0 {
			dst = append(dst, ", "...)
		}
		dst = append(dst, s...)
	}
	return dst
}

// MarshalJSON writes the phrases of the text.
func (b Broadcast) MarshalJSON() ([]byte, error) {
	return json.Marshal(map[string][]string{"says": append([]string{}, b.words()...)})
}
