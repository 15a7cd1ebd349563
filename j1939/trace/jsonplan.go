package trace

import (
	"encoding/binary"
	"strconv"
)

// plan returns the text of a group, made when its first message comes.
func (j *JSON) plan(p *plan) *jsonPlan {
	if j.plans == nil {
		j.plans = make([]*jsonPlan, compiled().count())
	}
	if j.plans[p.number] == nil {
		j.plans[p.number] = newJSONPlan(p)
	}
	return j.plans[p.number]
}

func newJSONPlan(p *plan) *jsonPlan {
	name := ""
	if p.group != nil {
		name = p.group.Name
	}
	j := &jsonPlan{name: string(append(appendString([]byte(`,"name":`), name), `,"spns":`...))}
	for _, q := range p.texts {
		j.texts = append(j.texts, newJSONPart(&field{parameter: q}))
	}
	for i := range p.fields {
		f := &p.fields[i]
		one := newJSONPart(f)
		j.longer = append(j.longer, one)
		if !f.inWord {
			j.parts = append(j.parts, one)
			continue
		}
		at := f.shift / 8
		if last := len(j.parts) - 1; f.inOneByte() && last >= 0 && j.parts[last].isByte(at) {
			j.parts[last].fields = append(j.parts[last].fields, f)
			continue
		}
		if f.inOneByte() {
			one.byByte, one.at = new(byteTexts), at
		}
		j.parts = append(j.parts, one)
	}
	return j
}

// isByte says that the part writes all fields inside that byte.
func (p *jsonPart) isByte(at uint8) bool { return p.byByte != nil && p.at == at }

func newJSONPart(f *field) jsonPart {
	q := f.parameter
	suffix := append(appendString([]byte(`,"unit":`), q.Unit), '}', ',')
	return jsonPart{
		fields: []*field{f},
		prefix: `"` + strconv.FormatUint(uint64(q.SPN), 10) + `":{"value":`,
		suffix: string(suffix),
	}
}

// firstWord is the first eight bytes of data, missing ones 0.
func firstWord(data []byte) uint64 {
	if len(data) >= 8 {
		return binary.LittleEndian.Uint64(data)
	}
	var b [8]byte
	copy(b[:], data)
	return binary.LittleEndian.Uint64(b[:])
}

// appendString appends UTF-8 text of our own tables as a JSON string.
func appendString(dst []byte, s string) []byte {
	dst = append(dst, '"')
	for i := range len(s) {
		dst = appendEscaped(dst, s[i])
	}
	return append(dst, '"')
}

// appendLatin1 appends ISO Latin 1 text from the bus as a JSON string. Bytes that are no text are escaped.
func appendLatin1(dst, text []byte) []byte {
	dst = append(dst, '"')
	for _, b := range text {
		if b >= 0x80 {
			dst = append(dst, `\u00`...)
			dst = appendHex(dst, []byte{b})
			continue
		}
		dst = appendEscaped(dst, b)
	}
	return append(dst, '"')
}

func appendEscaped(dst []byte, b byte) []byte {
	switch {
	case b == '"' || b == '\\':
		return append(dst, '\\', b)
	case b < 0x20 || b == 0x7F:
		return appendHex(append(dst, `\u00`...), []byte{b})
	default:
		return append(dst, b)
	}
}

// appendDigits appends exactly three digits.
func appendDigits(dst []byte, n int64) []byte {
	return append(dst, byte('0'+n/100), byte('0'+n/10%10), byte('0'+n%10))
}

// appendSmall appends a number below 10^6 without the general formatter.
func appendSmall(dst []byte, n uint32) []byte {
	var b [10]byte
	at := len(b)
	for {
		at--
		b[at] = byte('0' + n%10)
		if n /= 10; n == 0 {
			return append(dst, b[at:]...)
		}
	}
}
