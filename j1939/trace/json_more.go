package trace

import (
	"encoding/json"
	"strconv"

	"holdfast/j1939/dbc"
	"holdfast/j1939/spn"
)

// appendDiagnostic appends a diagnostic message that is no fault list. These are answers to requests, and the
// only messages for which a line allocates.
func (j *JSON) appendDiagnostic(dst []byte, m *Message) []byte {
	dst = append(dst, `,"diagnostics":`...)
	d := j.Known.diagnostic(m.Channel, m.Source, m.PGN, m.Data)
	if d == nil {
		return append(dst, "null"...)
	}
	text, err := json.Marshal(d)
	if err != nil {
		return append(dst, "null"...)
	}
	return append(dst, text...)
}

// appendOwn appends the person's own signals.
func (j *JSON) appendOwn(dst []byte, m *Message) []byte {
	values := j.Known.own(m)
	if len(values) == 0 {
		return dst
	}
	dst = append(dst, `,"signals":{`...)
	for i, v := range values {
		if i > 0 {
			dst = append(dst, ',')
		}
		dst = appendOwnValue(append(appendUTF8(dst, v.Signal.Name), ':'), v)
	}
	return append(dst, '}')
}

// outOfRange is the status of a signal of a DBC file that is neither valid nor not available.
const outOfRange = "out of range"

func appendOwnValue(dst []byte, v dbc.Value) []byte {
	switch v.Status {
	case spn.Valid:
		dst = v.AppendNumber(append(dst, `{"value":`...))
		dst = appendUTF8(append(dst, `,"unit":`...), v.Signal.Unit)
		if text := v.Text(); text != "" {
			dst = appendUTF8(append(dst, `,"state":`...), text)
		}
		return append(dst, '}')
	case spn.NotAvailable:
		return append(dst, `{"status":"not available"}`...)
	default:
		dst = append(dst, `{"status":"`+outOfRange+`","raw":`...)
		return append(strconv.AppendUint(dst, v.Raw, 10), '}')
	}
}

// appendUTF8 appends text of a file as a JSON string; what is no UTF-8 in it becomes the replacement
// character.
func appendUTF8(dst []byte, s string) []byte {
	for i := range len(s) {
		if s[i] >= 0x80 {
			text, _ := json.Marshal(s) // a string can always be written
			return append(dst, text...)
		}
	}
	return appendString(dst, s)
}
