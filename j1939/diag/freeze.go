package diag

import (
	"encoding/hex"
	"fmt"
	"strings"
)

// FreezeFrame is what a controller kept of the moment in which a code became active.
type FreezeFrame struct {
	DTC    DTC     `json:"fault"`
	Values []Value `json:"values"`
	Maker  Bytes   `json:"maker_data"` // data whose meaning only the maker knows
	Cut    bool    `json:"cut"`        // the frame says that it is longer than the message
}

// FreezeFrames is DM4: frames of a fixed list of parameters.
type FreezeFrames []FreezeFrame

// freezeList is what a frame of DM4 holds after its code: SPN and bytes.
var freezeList = []SupportedParameter{
	{SPN: 899, Bytes: 1}, {SPN: 102, Bytes: 1}, {SPN: 190, Bytes: 2}, {SPN: 92, Bytes: 1},
	{SPN: 110, Bytes: 1}, {SPN: 84, Bytes: 2},
}

// DecodeFreezeFrames reads DM4. A length of 0 says that there is no frame.
func DecodeFreezeFrames(data []byte, old Version) (FreezeFrames, error) {
	raw, err := DecodeExpandedFrames(data, old)
	frames := FreezeFrames{}
	for _, r := range raw {
		f := FreezeFrame{DTC: r.DTC, Cut: r.Cut}
		f.Values, f.Maker = readList(freezeList, r.Data)
		frames = append(frames, f)
	}
	return frames, err
}

// readList reads parameters one after the other and returns what is left.
func readList(list []SupportedParameter, data []byte) (values []Value, rest []byte) {
	for _, p := range list {
		if int(p.Bytes) > len(data) {
			break
		}
		if p.Bytes <= 8 {
			values = append(values, newValue(p.SPN, data[:p.Bytes]))
		}
		data = data[p.Bytes:]
	}
	return values, data
}

// AppendText implements Message.
func (f FreezeFrames) AppendText(dst []byte) []byte {
	if len(f) == 0 {
		return append(dst, "no freeze frame"...)
	}
	for i, frame := range f {
		if i > 0 {
			dst = append(dst, "; "...)
		}
		dst = frame.AppendText(dst)
	}
	return dst
}

// AppendText appends the frame on one line.
func (f FreezeFrame) AppendText(dst []byte) []byte {
	dst = append(append(dst, "freeze frame of "...), f.DTC.String()...)
	for i, v := range f.Values {
		dst = append(dst, [2]string{": ", ", "}[min(i, 1)]...)
		dst = v.AppendText(dst)
	}
	if len(f.Maker) > 0 {
		dst = append(append(dst, ", maker's data "...), f.Maker.String()...)
	}
	if f.Cut {
		dst = append(dst, " (cut off)"...)
	}
	return dst
}

// ExpandedFrame is one frame of DM25. Its data is the parameters that DM24 of the same source lists for
// freeze frames, in that order.
type ExpandedFrame struct {
	DTC  DTC   `json:"fault"`
	Data Bytes `json:"data"`
	Cut  bool  `json:"cut"`
}

// ExpandedFrames is DM25.
type ExpandedFrames []ExpandedFrame

// DecodeExpandedFrames reads DM25: length of what follows, code, data; repeated. A length of 0 says that
// there is no frame, as does padding.
func DecodeExpandedFrames(data []byte, old Version) (ExpandedFrames, error) {
	if len(data) < 1+dtcLength {
		return nil, short("freeze frames", data, 1+dtcLength)
	}
	frames := ExpandedFrames{}
	for len(data) > dtcLength {
		length := int(data[0])
		if length < dtcLength || length == 0xFF && data[1] == 0xFF {
			break
		}
		body := data[1:min(1+length, len(data))]
		data = data[1+len(body):]
		frames = append(frames, ExpandedFrame{DTC: DecodeDTC([4]byte(body), old),
			Data: append(Bytes{}, body[dtcLength:]...), Cut: len(body) < length})
	}
	return frames, nil
}

// AppendText implements Message.
func (f ExpandedFrames) AppendText(dst []byte) []byte {
	if len(f) == 0 {
		return append(dst, "no expanded freeze frame"...)
	}
	for i, frame := range f {
		if i > 0 {
			dst = append(dst, "; "...)
		}
		dst = fmt.Appendf(dst, "expanded freeze frame of %s: %s", frame.DTC, frame.Data)
		if frame.Cut {
			dst = append(dst, " (cut off)"...)
		}
	}
	return dst
}

// Expand reads the frames with the list that DM24 of the same source gave.
func (f ExpandedFrames) Expand(s Support) FreezeFrames {
	list := s.InFreezeFrame()
	frames := FreezeFrames{}
	for _, raw := range f {
		full := FreezeFrame{DTC: raw.DTC, Cut: raw.Cut}
		full.Values, full.Maker = readList(list, raw.Data)
		frames = append(frames, full)
	}
	return frames
}

// Bytes is data without a known meaning: shown and written as JSON in hexadecimal.
type Bytes []byte

func (b Bytes) String() string { return strings.ToUpper(hex.EncodeToString(b)) }

// MarshalText implements encoding.TextMarshaler.
func (b Bytes) MarshalText() ([]byte, error) { return []byte(b.String()), nil }
