package ident

import (
	"bytes"
	"fmt"
	"strings"

	"holdfast/j1939/spn"
)

// Text is a field in ISO Latin 1, padding cut. nil: the message has no such field. Empty but not
// nil: the field is there with nothing in it.
type Text []byte

// String is the text in UTF-8. Bytes that are no printable characters are written as \xNN, a backslash
// is doubled, so that nothing is hidden from the reader and a terminal is not driven by what a bus says.
func (t Text) String() string {
	var b strings.Builder
	for _, c := range t {
		switch {
		case c == '\\':
			b.WriteString(`\\`)
		case c < 0x20 || c >= 0x7F && c < 0xA0:
			fmt.Fprintf(&b, `\x%02X`, c)
		default:
			b.WriteRune(rune(c))
		}
	}
	return b.String()
}

// Fields cuts data at every '*'. What follows the last one is a field only when it is more than padding:
// a sender that forgot the last '*'.
func Fields(data []byte) []Text {
	var fields []Text
	for {
		field, rest, more := bytes.Cut(data, []byte{'*'})
		field = spn.Trim(field)
		if !more && len(field) == 0 {
			return fields
		}
		fields = append(fields, append(Text{}, field...))
		data = rest
	}
}

// assign gives fields to places in order and returns those that are left.
func assign(fields []Text, places ...*Text) (rest []Text) {
	for i, f := range fields {
		if i == len(places) {
			return fields[i:]
		}
		*places[i] = f
	}
	return nil
}
