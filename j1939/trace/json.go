package trace

import (
	"strconv"
	"strings"

	"holdfast/j1939/diag"
	"holdfast/j1939/spn"
	"holdfast/j1939/transport"
)

// JSON writes messages as JSON lines, one object each:
//
//	time         seconds, as exact as the frame's time stamp
//	channel      interface number of a capture of several, left out when 0
//	pgn, priority, source, destination (255: all), name ("" when the catalogue has none)
//	transport    "BAM" or "RTS/CTS", of a reassembled message only
//	spns         by number: {"value":..,"unit":".."} ("state" names the value of a state), or
//	             {"status":"not available" | "error indicator" | "reserved","raw":..}; a parameter beyond
//	             the end of the data is left out; numbers above 2^53 are hexadecimal text
//	lamps, flash, faults   of fault lists; count null: not available
//	diagnostics  of other diagnostic messages, as j1939/diag writes them; null when it cannot be read
//	signals      with Known.Own, by name: as spns; of a message without any it is left out
//	data         the bytes in hexadecimal
//
// Values are the exact decimals that the standard's scaling gives. Text is built once for each raw value
// of a small field, so the steady state allocates nothing.
type JSON struct {
	Known  Known
	plans  []*jsonPlan
	second int64
	stamp  []byte // {"time":<second>. of the last message
	faults diag.Faults
}

// jsonPlan is the text that does not change between messages of a group.
type jsonPlan struct {
	name   string // ,"name":"..","spns":{
	parts  []jsonPart
	texts  []jsonPart
	longer []jsonPart // every field by itself, for data that is not eight bytes
}

// jsonPart writes one field, or all the fields that lie inside one byte.
type jsonPart struct {
	fields []*field
	at     uint8      // byte of the fields; onlyByte parts
	byByte *byteTexts // text for each value of that byte, made when first met
	prefix string     // "190":{"value":
	suffix string     // ,"unit":"rpm"},
}

// Append appends the message as one line.
func (j *JSON) Append(dst []byte, m *Message) []byte {
	p := j.plan(m.plan)
	dst = j.appendTime(dst, m)
	if m.Channel != 0 {
		dst = strconv.AppendUint(append(dst, `,"channel":`...), uint64(m.Channel), 10)
	}
	dst = appendSmall(append(dst, `,"pgn":`...), m.PGN)
	dst = append(dst, `,"priority":`...)
	dst = append(dst, '0'+m.Priority)
	dst = appendSmall(append(dst, `,"source":`...), uint32(m.Source))
	dst = appendSmall(append(dst, `,"destination":`...), uint32(m.Destination))
	if m.Transport != transport.SingleFrame {
		dst = append(append(append(dst, `,"transport":"`...), m.Transport.String()...), '"')
	}
	dst = append(dst, p.name...)
	dst = j.appendParameters(dst, p, m)
	if m.plan.faults {
		dst = j.appendFaults(dst, m)
	} else if m.plan.diagnosis {
		dst = j.appendDiagnostic(dst, m)
	}
	if j.Known.Own != nil {
		dst = j.appendOwn(dst, m)
	}
	dst = append(dst, `,"data":"`...)
	dst = appendHex(dst, m.Data)
	return append(dst, '"', '}', '\n')
}

// appendTime appends the first member. Microseconds are written, nanoseconds only where there are any.
func (j *JSON) appendTime(dst []byte, m *Message) []byte {
	second, rest := int64(m.Time)/1e9, int64(m.Time)%1e9
	if second != j.second || j.stamp == nil || m.Time < 0 {
		j.second = second
		j.stamp = append(j.stamp[:0], `{"time":`...)
		if m.Time < 0 {
			j.stamp, second, rest = append(j.stamp, '-'), -second, -rest
		}
		j.stamp = append(strconv.AppendInt(j.stamp, second, 10), '.')
	}
	dst = append(dst, j.stamp...)
	if m.Time < 0 {
		j.stamp = nil
	}
	if nanoseconds := rest % 1000; nanoseconds != 0 {
		return appendDigits(appendDigits(appendDigits(dst, rest/1e6), rest/1e3%1e3), nanoseconds)
	}
	return appendDigits(appendDigits(dst, rest/1e6), rest/1e3%1e3)
}

func (j *JSON) appendParameters(dst []byte, p *jsonPlan, m *Message) []byte {
	dst = append(dst, '{')
	word := firstWord(m.Data)
	parts := p.parts
	if len(m.Data) != 8 {
		parts = p.longer
	}
	for i := range parts {
		dst = parts[i].append(dst, word, m.Data)
	}
	for i := range p.texts {
		dst = p.texts[i].appendText(dst, m.Data)
	}
	if last := len(dst) - 1; dst[last] == ',' {
		dst[last] = '}'
		return dst
	}
	return append(dst, '}')
}

// byteTexts holds a text for each value of a byte, sixteen together: most bytes of states take few values, and a bus has
// some hundred of them.
type byteTexts [16]*[16]string

func (p *jsonPart) append(dst []byte, word uint64, data []byte) []byte {
	if p.byByte != nil {
		value := byte(word >> (8 * p.at))
		few := p.byByte[value>>4]
		if few == nil {
			few = new([16]string)
			p.byByte[value>>4] = few
		}
		text := few[value&15]
		if text == "" {
			text = p.makeByte(word, data)
			few[value&15] = text
		}
		return append(dst, text...)
	}
	f := p.fields[0]
	raw, ok := f.extract(word, data)
	if !ok {
		return dst
	}
	return p.appendValue(dst, f.parameter, raw)
}

// makeByte makes the text of all fields inside one byte.
func (p *jsonPart) makeByte(word uint64, data []byte) string {
	var text []byte
	for _, f := range p.fields {
		one := newJSONPart(f)
		raw, _ := f.extract(word, data)
		text = one.appendValue(text, f.parameter, raw)
	}
	return string(text)
}

// exactJSON is the largest number that every JSON reader keeps exact.
const exactJSON = 1 << 53

func (p *jsonPart) appendValue(dst []byte, q *spn.Parameter, raw uint64) []byte {
	status := q.StatusOf(raw)
	if status != spn.Valid {
		return p.appendStatus(dst, status, raw, q.Text(raw))
	}
	dst = append(dst, p.prefix...)
	switch {
	case raw >= exactJSON:
		dst = append(strconv.AppendUint(append(dst, `"0x`...), raw, 16), '"')
	case q.Kind == spn.Bits:
		dst = strconv.AppendUint(dst, raw, 10)
	default:
		dst = q.Scale.AppendExact(dst, raw)
	}
	if q.Kind == spn.State {
		if text := q.Text(raw); text != "" {
			dst = append(dst, `,"unit":"","state":`...)
			return append(appendString(dst, text), '}', ',')
		}
	}
	return append(dst, p.suffix...)
}

// appendStatus writes a raw value that is no number; state is its name in the parameter's table, if it has one.
func (p *jsonPart) appendStatus(dst []byte, status spn.Status, raw uint64, state string) []byte {
	dst = append(dst, strings.TrimSuffix(p.prefix, `"value":`)...)
	dst = append(append(append(dst, `"status":"`...), status.String()...), '"')
	if status == spn.Specific && state != "" {
		dst = appendString(append(dst, `,"state":`...), state)
	}
	if status != spn.NotAvailable {
		dst = strconv.AppendUint(append(dst, `,"raw":`...), raw, 10)
	}
	return append(dst, '}', ',')
}

func (p *jsonPart) appendText(dst []byte, data []byte) []byte {
	q := p.fields[0].parameter
	text, status := q.DecodeText(data)
	switch status {
	case spn.Absent:
		return dst
	case spn.Valid:
		return append(appendLatin1(append(dst, p.prefix...), text), `,"unit":""},`...)
	default:
		return p.appendStatus(dst, status, 0, "")
	}
}

func (j *JSON) appendFaults(dst []byte, m *Message) []byte {
	if j.faults.DecodeInto(m.Data, j.Known.Conversions.Of(m.Source)) != nil {
		return append(dst, `,"lamps":null,"faults":null`...)
	}
	dst = appendLamps(append(dst, `,"lamps":{`...), j.faults.Lamps, lampState)
	dst = appendLamps(append(dst, `},"flash":{`...), j.faults.Lamps, lampFlash)
	dst = append(dst, `},"faults":[`...)
	for i, d := range j.faults.DTCs {
		if i > 0 {
			dst = append(dst, ',')
		}
		dst = appendFault(dst, d)
	}
	return append(dst, ']')
}

func lampState(l diag.Lamp) string { return l.State.String() }
func lampFlash(l diag.Lamp) string { return l.Flash.String() }

func appendLamps(dst []byte, l diag.Lamps, text func(diag.Lamp) string) []byte {
	for i, lamp := range [...]struct {
		name string
		diag.Lamp
	}{{"mil", l.MIL}, {"red_stop", l.RedStop}, {"amber_warning", l.AmberWarning}, {"protect", l.Protect}} {
		if i > 0 {
			dst = append(dst, ',')
		}
		dst = append(append(append(dst, '"'), lamp.name...), `":"`...)
		dst = append(append(dst, text(lamp.Lamp)...), '"')
	}
	return dst
}

func appendFault(dst []byte, d diag.DTC) []byte {
	dst = strconv.AppendUint(append(dst, `{"spn":`...), uint64(d.SPN), 10)
	dst = strconv.AppendUint(append(dst, `,"fmi":`...), uint64(d.FMI), 10)
	dst = append(dst, `,"count":`...)
	if d.Count == diag.CountNotAvailable {
		dst = append(dst, "null"...)
	} else {
		dst = strconv.AppendUint(dst, uint64(d.Count), 10)
	}
	if d.Old() {
		dst = strconv.AppendUint(append(dst, `,"assumed_conversion":`...), uint64(d.Version), 10)
	}
	dst = appendString(append(dst, `,"name":`...), spn.Name(d.SPN))
	dst = appendString(append(dst, `,"failure":`...), spn.FMIText(d.FMI))
	return append(dst, '}')
}

func appendHex(dst, data []byte) []byte {
	const digits = "0123456789ABCDEF"
	for _, b := range data {
		dst = append(dst, digits[b>>4], digits[b&15])
	}
	return dst
}
