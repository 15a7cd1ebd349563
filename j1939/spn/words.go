package spn

import "strconv"

// AppendWords appends what a raw value says to a person: value and unit, the state's name or the status.
func (p *Parameter) AppendWords(dst []byte, raw uint64) []byte {
	status, text := p.StatusOf(raw), p.Text(raw)
	switch {
	case text != "" && (status == Valid || status == Specific):
		return append(dst, text...)
	case status != Valid:
		return append(dst, status.String()...)
	}
	if p.Kind == Bits {
		return p.appendBits(dst, raw)
	}
	dst = p.Scale.AppendShown(dst, raw)
	if p.Unit != "" && p.Unit != "source address" && p.Unit != "count" {
		dst = append(append(dst, ' '), p.Unit...)
	}
	return dst
}

// AppendNumber appends a value without its unit.
func (p *Parameter) AppendNumber(dst []byte, raw uint64) []byte {
	if p.Kind == Bits {
		return p.appendBits(dst, raw)
	}
	return p.Scale.AppendShown(dst, raw)
}

// appendBits appends an SPN (19 bits) or a PGN (24) as the number it is, anything else in hexadecimal.
func (p *Parameter) appendBits(dst []byte, raw uint64) []byte {
	if p.Bits >= 19 && p.Bits <= 24 {
		return strconv.AppendUint(dst, raw, 10)
	}
	return strconv.AppendUint(append(dst, "0x"...), raw, 16)
}
