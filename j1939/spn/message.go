package spn

import "bytes"

// Message is one parameter group. It never changes after loading and may be shared.
type Message struct {
	PGN        uint32
	Acronym    string
	Name       string
	Length     int    // bytes; 0 when it varies
	LengthText string // as the source words it
	Priority   string // default priority, with "(memory)" where it is that
	Rate       string // transmission rate in words
	Parameters []*Parameter

	Sources, Confidence string
}

// Parameter returns the parameter of that number in the group; nil when it has none.
func (m *Message) Parameter(number uint32) *Parameter {
	for _, p := range m.Parameters {
		if p.SPN == number {
			return p
		}
	}
	return nil
}

// Blank returns data of the group's length (8 where it varies) that says "not available" everywhere.
func (m *Message) Blank() []byte {
	length := m.Length
	if length == 0 {
		length = 8
	}
	return bytes.Repeat([]byte{0xFF}, length)
}

// DecodeText takes a Text parameter out of a message's data: a part of data, not a copy.
// An empty field is NotAvailable; Absent says that the text has fewer fields or bytes.
func (p *Parameter) DecodeText(data []byte) ([]byte, Status) {
	if p.Kind != Text || len(data) == 0 {
		return nil, Absent
	}
	if p.Byte > 0 {
		if int(p.Byte) > len(data) {
			return nil, Absent
		}
		data = data[p.Byte-1:]
	}
	if p.Length > 0 {
		if int(p.Length) > len(data) {
			return nil, Absent
		}
		return textOrNothing(data[:p.Length])
	}
	for range p.Field {
		_, rest, more := bytes.Cut(data, []byte{'*'})
		if !more {
			return nil, Absent
		}
		data = rest
	}
	if p.SPN != softwareIdentification {
		data, _, _ = bytes.Cut(data, []byte{'*'})
	}
	return textOrNothing(data)
}

func textOrNothing(data []byte) ([]byte, Status) {
	if data = Trim(data); len(data) == 0 {
		return nil, NotAvailable
	}
	return data, Valid
}

// softwareIdentification holds several texts after a count; they are given with their '*'.
const softwareIdentification = 234

// Trim cuts the padding of a text on both sides: spaces, zeros and ones. It is a part of text, not a copy. It goes
// byte by byte because the text is ISO Latin 1, and the bytes package reads UTF-8.
func Trim(text []byte) []byte {
	padding := func(b byte) bool { return b == ' ' || b == 0x00 || b == 0xFF }
	for len(text) > 0 && padding(text[0]) {
		text = text[1:]
	}
	for len(text) > 0 && padding(text[len(text)-1]) {
		text = text[:len(text)-1]
	}
	return text
}
