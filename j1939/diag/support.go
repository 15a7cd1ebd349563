package diag

import (
	"encoding/json"
	"fmt"

	"holdfast/j1939/spn"
)

// SupportedParameter is one record of DM24.
type SupportedParameter struct {
	SPN         uint32
	FreezeFrame bool // in expanded freeze frames (DM25)
	DataStream  bool // in what is broadcast or sent on request
	ScaledTest  bool // has scaled test results (DM30)
	Rationality bool // newer editions: rationality fault data
	Bytes       uint8
}

// MarshalJSON adds the name.
func (p SupportedParameter) MarshalJSON() ([]byte, error) {
	return json.Marshal(struct {
		SPN         uint32 `json:"spn"`
		Name        string `json:"name"`
		FreezeFrame bool   `json:"freeze_frame"`
		DataStream  bool   `json:"data_stream"`
		ScaledTest  bool   `json:"scaled_test"`
		Rationality bool   `json:"rationality"`
		Bytes       uint8  `json:"bytes"`
	}{p.SPN, spn.Name(p.SPN), p.FreezeFrame, p.DataStream, p.ScaledTest, p.Rationality, p.Bytes})
}

// Support is DM24, in the order in which it was sent.
type Support []SupportedParameter

const supportLength = 4

// DecodeSupport reads DM24. A set bit says that the parameter is NOT supported. Records of ones are padding.
func DecodeSupport(data []byte) (Support, error) {
	if len(data) < supportLength {
		return nil, short("DM24", data, supportLength)
	}
	list := Support{}
	for ; len(data) >= supportLength; data = data[supportLength:] {
		if isNone([4]byte(data)) {
			continue
		}
		number, bits := numberAndFMI(data)
		list = append(list, SupportedParameter{SPN: number, FreezeFrame: bits&1 == 0, DataStream: bits&2 == 0,
			ScaledTest: bits&4 == 0, Rationality: bits&8 == 0, Bytes: data[3]})
	}
	return list, nil
}

// InFreezeFrame are the parameters of expanded freeze frames, in their order.
func (s Support) InFreezeFrame() []SupportedParameter {
	var list []SupportedParameter
	for _, p := range s {
		if p.FreezeFrame {
			list = append(list, p)
		}
	}
	return list
}

// AppendText implements Message.
func (s Support) AppendText(dst []byte) []byte {
	dst = fmt.Appendf(dst, "%d parameter%s", len(s), map[bool]string{false: "s"}[len(s) == 1])
	for i, p := range s {
		dst = fmt.Appendf(dst, "%s SPN %d (", [2]string{":", ","}[min(i, 1)], p.SPN)
		start := len(dst)
		for _, has := range []struct {
			yes  bool
			what string
		}{{p.FreezeFrame, "freeze frame"}, {p.DataStream, "data stream"}, {p.ScaledTest, "scaled test"}} {
			if has.yes {
				if len(dst) > start {
					dst = append(dst, ", "...)
				}
				dst = append(dst, has.what...)
			}
		}
		if len(dst) == start {
			dst = append(dst, "nothing"...)
		}
		dst = append(dst, ')')
	}
	return dst
}

// LampAssociation is one record of DM31: a code and the lamps it lights.
type LampAssociation struct {
	DTC   DTC   `json:"fault"`
	Lamps Lamps `json:"lamps"`
}

// LampAssociations is DM31.
type LampAssociations []LampAssociation

const associationLength = 6

// DecodeLampAssociations reads DM31.
func DecodeLampAssociations(data []byte, old Version) (LampAssociations, error) {
	if len(data) < associationLength {
		return nil, short("DM31", data, associationLength)
	}
	list := LampAssociations{}
	for ; len(data) >= associationLength; data = data[associationLength:] {
		if b := [4]byte(data); !isNone(b) {
			list = append(list, LampAssociation{DecodeDTC(b, old), DecodeLamps(data[4], data[5])})
		}
	}
	return list, nil
}

// AppendText implements Message.
func (l LampAssociations) AppendText(dst []byte) []byte {
	if len(l) == 0 {
		return append(dst, "no code lights a lamp"...)
	}
	for i, a := range l {
		if i > 0 {
			dst = append(dst, "; "...)
		}
		dst = fmt.Appendf(dst, "%s lights: %s", named(a.DTC.SPN, a.DTC.FMI), a.Lamps)
	}
	return dst
}

// Ratio is how often one monitor of DM20 ran.
type Ratio struct {
	SPN         uint32
	Numerator   Value // times the monitor ran
	Denominator Value // times the vehicle was used so that it could
}

// MarshalJSON adds the name.
func (r Ratio) MarshalJSON() ([]byte, error) {
	return json.Marshal(struct {
		SPN         uint32 `json:"spn"`
		Name        string `json:"name"`
		Numerator   Value  `json:"numerator"`
		Denominator Value  `json:"denominator"`
	}{r.SPN, spn.Name(r.SPN), r.Numerator, r.Denominator})
}

// Performance is DM20.
type Performance struct {
	IgnitionCycles Value   `json:"ignition_cycles"`
	Conditions     Value   `json:"obd_conditions"` // times that the general conditions were met
	Ratios         []Ratio `json:"monitors"`
}

const (
	performanceHead = 4
	ratioLength     = 7
)

// DecodePerformance reads DM20. What is left after the last whole record is padding.
func DecodePerformance(data []byte) (Performance, error) {
	if len(data) < performanceHead {
		return Performance{}, short("DM20", data, performanceHead)
	}
	p := Performance{IgnitionCycles: newValue(3048, data[:2]), Conditions: newValue(3049, data[2:4]),
		Ratios: []Ratio{}}
	for rest := data[performanceHead:]; len(rest) >= ratioLength; rest = rest[ratioLength:] {
		number := uint32(rest[0]) | uint32(rest[1])<<8 | uint32(rest[2]&7)<<16
		p.Ratios = append(p.Ratios, Ratio{number, newValue(3067, rest[3:5]), newValue(3068, rest[5:7])})
	}
	return p, nil
}

// AppendText implements Message.
func (p Performance) AppendText(dst []byte) []byte {
	dst = append(p.IgnitionCycles.AppendWords(append(dst, "ignition cycles: "...)), ", OBD conditions met: "...)
	dst = p.Conditions.AppendWords(dst)
	for _, r := range p.Ratios {
		dst = fmt.Appendf(dst, "; SPN %d", r.SPN)
		if name := spn.Name(r.SPN); name != "" {
			dst = fmt.Appendf(dst, " (%s)", name)
		}
		dst = append(r.Numerator.AppendWords(append(dst, ": ran "...)), " of "...)
		dst = r.Denominator.AppendWords(dst)
	}
	return dst
}
