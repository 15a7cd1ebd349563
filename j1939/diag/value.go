package diag

import (
	"encoding/json"
	"strconv"

	"holdfast/j1939/spn"
)

// Value is one parameter as freeze frames and counters carry it: in whole bytes, whatever its width in
// the messages of J1939-71.
type Value struct {
	SPN   uint32
	Raw   uint64 // the bytes, least significant first
	Bytes uint8

	parameter *spn.Parameter // nil: not in the catalogue, or of a kind that is no number
}

// newValue reads a value of the parameter from all of b.
func newValue(number uint32, b []byte) Value {
	v := Value{SPN: number, Bytes: uint8(len(b))}
	for i := len(b) - 1; i >= 0; i-- {
		v.Raw = v.Raw<<8 | uint64(b[i])
	}
	for _, p := range spn.Find(number) {
		if p.Bits > 0 && int(p.Bits) <= 8*len(b) && (v.parameter == nil || int(p.Bits) == 8*len(b)) {
			v.parameter = p
		}
	}
	return v
}

// field is the raw value in the width of the parameter. A parameter of less than its bytes has zeros or ones
// above it; false when there is anything else.
func (v Value) field() (raw uint64, ok bool) {
	width := uint(v.parameter.Bits)
	above := v.Raw >> width
	ones := uint64(1)<<(8*uint(v.Bytes)-width) - 1
	return v.Raw & (1<<width - 1), above == 0 || above == ones
}

// Status is the value's status; Unknown where the catalogue cannot read it.
func (v Value) Status() spn.Status {
	switch {
	case v.Bytes > 0 && v.Raw == 1<<(8*uint(v.Bytes))-1:
		return spn.NotAvailable
	case v.parameter == nil:
		return spn.Unknown
	}
	raw, ok := v.field()
	if !ok {
		return spn.Reserved
	}
	return v.parameter.StatusOf(raw)
}

// Number is the value in the parameter's unit; false when it is none.
func (v Value) Number() (number float64, ok bool) {
	if v.Status() != spn.Valid {
		return 0, false
	}
	raw, _ := v.field()
	if v.parameter.Kind == spn.Bits {
		return float64(raw), true
	}
	return v.parameter.Scale.Value(raw), true
}

// AppendWords appends value and unit, the state's name or the status.
func (v Value) AppendWords(dst []byte) []byte {
	if v.parameter == nil && v.Status() != spn.NotAvailable {
		return strconv.AppendUint(append(dst, "0x"...), v.Raw, 16)
	}
	if status := v.Status(); status != spn.Valid {
		return append(dst, status.String()...)
	}
	raw, _ := v.field()
	return v.parameter.AppendWords(dst, raw)
}

// AppendText appends the parameter's name and number before the words.
func (v Value) AppendText(dst []byte) []byte {
	if name := spn.Name(v.SPN); name != "" {
		dst = append(append(dst, name...), " ("...)
		dst = append(strconv.AppendUint(dst, uint64(v.SPN), 10), ") "...)
	} else {
		dst = append(strconv.AppendUint(append(dst, "SPN "...), uint64(v.SPN), 10), ' ')
	}
	return v.AppendWords(dst)
}

// MarshalJSON writes {"spn","value","unit"} or {"spn","status","raw"}, as the parameters of other messages.
func (v Value) MarshalJSON() ([]byte, error) {
	o := struct {
		SPN    uint32      `json:"spn"`
		Name   string      `json:"name,omitempty"`
		Value  json.Number `json:"value,omitempty"`
		Unit   *string     `json:"unit,omitempty"`
		State  string      `json:"state,omitempty"`
		Status string      `json:"status,omitempty"`
		Raw    *uint64     `json:"raw,omitempty"`
	}{SPN: v.SPN, Name: spn.Name(v.SPN)}
	if status := v.Status(); status != spn.Valid {
		o.Status = status.String()
		if status != spn.NotAvailable {
			o.Raw = &v.Raw
		}
		return json.Marshal(o)
	}
	raw, _ := v.field()
	o.Value, o.Unit = json.Number(strconv.FormatUint(raw, 10)), &v.parameter.Unit
	if v.parameter.Kind != spn.Bits {
		o.Value = json.Number(v.parameter.Scale.AppendExact(nil, raw))
	}
	o.State = v.parameter.Text(raw)
	return json.Marshal(o)
}
