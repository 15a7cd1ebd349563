package diag

import (
	"bytes"
	"encoding/json"
	"fmt"

	"holdfast/j1939/ident"
	"holdfast/j1939/spn"
)

// Calibration is one record of DM19.
type Calibration struct {
	Verification uint32     // CVN: checksum of the calibration
	ID           ident.Text // padding cut
}

// MarshalJSON writes the verification number as it is written on labels: eight hexadecimal digits.
func (c Calibration) MarshalJSON() ([]byte, error) {
	return json.Marshal(struct {
		CVN string     `json:"cvn"`
		ID  ident.Text `json:"calibration_id"`
	}{fmt.Sprintf("%08X", c.Verification), c.ID})
}

// Calibrations is DM19.
type Calibrations []Calibration

const (
	calibrationLength = 20
	verification      = 4
)

// DecodeCalibrations reads DM19: records of 20 bytes. What is left after the last whole one is padding.
func DecodeCalibrations(data []byte) (Calibrations, error) {
	if len(data) < calibrationLength {
		return nil, short("DM19", data, calibrationLength)
	}
	list := Calibrations{}
	for ; len(data) >= calibrationLength; data = data[calibrationLength:] {
		id := bytes.Clone(spn.Trim(data[verification:calibrationLength]))
		list = append(list, Calibration{uint32(word(data)) | uint32(word(data[2:]))<<16, id})
	}
	return list, nil
}

// AppendText implements Message.
func (c Calibrations) AppendText(dst []byte) []byte {
	for i, one := range c {
		if i > 0 {
			dst = append(dst, "; "...)
		}
		dst = fmt.Appendf(dst, "calibration %s, CVN %08X", one.ID, one.Verification)
	}
	return dst
}
