package diag

import "fmt"

// ClearControl is the first byte of DM22.
type ClearControl uint8

const (
	ClearPrevious         ClearControl = 1 // request: clear a previously active code
	ClearPreviousAccepted ClearControl = 2
	ClearPreviousRefused  ClearControl = 3
	ClearActive           ClearControl = 17 // request: clear an active code
	ClearActiveAccepted   ClearControl = 18
	ClearActiveRefused    ClearControl = 19
)

var clearTexts = map[ClearControl]string{
	ClearPrevious:         "request to clear previously active",
	ClearPreviousAccepted: "cleared previously active",
	ClearPreviousRefused:  "refuses to clear previously active",
	ClearActive:           "request to clear active",
	ClearActiveAccepted:   "cleared active",
	ClearActiveRefused:    "refuses to clear active",
}

func (c ClearControl) String() string {
	if text := clearTexts[c]; text != "" {
		return text
	}
	return fmt.Sprintf("reserved control %d", uint8(c))
}

// MarshalText implements encoding.TextMarshaler.
func (c ClearControl) MarshalText() ([]byte, error) { return []byte(c.String()), nil }

// refusals: the second byte of DM22 when it refuses.
var refusals = [...]string{"", "access denied", "code unknown or does not exist", "no longer previously active",
	"no longer active"}

// ClearOne is DM22: clear one code, to one controller, and its answer.
type ClearOne struct {
	Control   ClearControl `json:"control"`
	Indicator uint8        `json:"indicator"` // why it was refused; 255 when it was not
	SPN       uint32       `json:"spn"`
	FMI       uint8        `json:"fmi"`
}

// Refused says whether it is a refusal, and why: "" gives no reason.
func (c ClearOne) Refused() (reason string, refused bool) {
	if c.Control != ClearPreviousRefused && c.Control != ClearActiveRefused {
		return "", false
	}
	if int(c.Indicator) < len(refusals) {
		return refusals[c.Indicator], true
	}
	return fmt.Sprintf("reason %d", c.Indicator), true
}

// DecodeClearOne reads DM22.
func DecodeClearOne(data []byte) (ClearOne, error) {
	if len(data) < 8 {
		return ClearOne{}, short("DM22", data, 8)
	}
	c := ClearOne{Control: ClearControl(data[0]), Indicator: data[1]}
	c.SPN, c.FMI = numberAndFMI(data[5:])
	return c, nil
}

// Encode returns the eight bytes.
func (c ClearOne) Encode() ([8]byte, error) {
	b := [8]byte{0: byte(c.Control), 1: c.Indicator, 2: 0xFF, 3: 0xFF, 4: 0xFF}
	if err := putNumberAndFMI(b[5:], c.SPN, c.FMI); err != nil {
		return b, fmt.Errorf("encode DM22: %w", err)
	}
	return b, nil
}

// NewClear is the request to clear one code.
func NewClear(control ClearControl, number uint32, fmi uint8) ClearOne {
	return ClearOne{Control: control, Indicator: 0xFF, SPN: number, FMI: fmi}
}

// AppendText implements Message.
func (c ClearOne) AppendText(dst []byte) []byte {
	dst = fmt.Appendf(dst, "%s %s", c.Control, named(c.SPN, c.FMI))
	if reason, _ := c.Refused(); reason != "" {
		dst = append(append(dst, ": "...), reason...)
	}
	return dst
}
