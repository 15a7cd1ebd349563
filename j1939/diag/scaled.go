package diag

import (
	"encoding/json"
	"fmt"

	"holdfast/j1939/spn"
)

// Test identifiers of DM7 with a meaning of their own. 1 to 64 are those that DM10 lists.
const (
	TestAll      uint8 = 246 // all results: from memory
	TestByNumber uint8 = 247 // the tests of one SPN and FMI
)

// TestCommand is DM7: to one controller, which answers with DM30 or DM8, or refuses.
type TestCommand struct {
	Test uint8  `json:"test"`
	SPN  uint32 `json:"spn"` // TestByNumber: which; 524287 is not used
	FMI  uint8  `json:"fmi"` // 31: all
}

const testCommandLength = 4

// DecodeTestCommand reads DM7.
func DecodeTestCommand(data []byte) (TestCommand, error) {
	if len(data) < testCommandLength {
		return TestCommand{}, short("DM7", data, testCommandLength)
	}
	c := TestCommand{Test: data[0]}
	c.SPN, c.FMI = numberAndFMI(data[1:])
	return c, nil
}

// Encode returns the eight bytes of the command.
func (c TestCommand) Encode() ([8]byte, error) {
	b := [8]byte{0: c.Test, 4: 0xFF, 5: 0xFF, 6: 0xFF, 7: 0xFF}
	if err := putNumberAndFMI(b[1:], c.SPN, c.FMI); err != nil {
		return b, fmt.Errorf("encode DM7: %w", err)
	}
	return b, nil
}

// AppendText implements Message.
func (c TestCommand) AppendText(dst []byte) []byte {
	return fmt.Appendf(dst, "command test %d of %s", c.Test, named(c.SPN, c.FMI))
}

// named is a pair of SPN and FMI with the parameter's name.
func named(number uint32, fmi uint8) string {
	text := DTC{SPN: number, FMI: fmi}.String()
	if name := spn.Name(number); name != "" {
		text += " (" + name + ")"
	}
	return text
}

// TestResult is DM8. Its values have a scale that only the maker knows.
type TestResult struct {
	Test      uint8  `json:"test"`
	Component uint8  `json:"component"`
	Value     uint16 `json:"value"`
	Maximum   uint16 `json:"maximum"` // 65535: no limit
	Minimum   uint16 `json:"minimum"` // 65535: no limit
}

const noLimit = 0xFFFF

// DecodeTestResult reads DM8.
func DecodeTestResult(data []byte) (TestResult, error) {
	if len(data) < 8 {
		return TestResult{}, short("DM8", data, 8)
	}
	at := func(i int) uint16 { return uint16(word(data[i:])) }
	return TestResult{Test: data[0], Component: data[1], Value: at(2), Maximum: at(4), Minimum: at(6)}, nil
}

// AppendText implements Message.
func (r TestResult) AppendText(dst []byte) []byte {
	dst = fmt.Appendf(dst, "test %d of component %d: %d", r.Test, r.Component, r.Value)
	if r.Minimum != noLimit {
		dst = fmt.Appendf(dst, ", at least %d", r.Minimum)
	}
	if r.Maximum != noLimit {
		dst = fmt.Appendf(dst, ", at most %d", r.Maximum)
	}
	return dst
}

// ScaledResult is one record of DM30. SLOT names the scale of its values.
type ScaledResult struct {
	Test                    uint8
	SPN                     uint32
	FMI                     uint8
	SLOT                    uint16
	Value, Maximum, Minimum uint16 // raw; limits 65535: none
}

// Values of a scaled result that are no number.
const (
	notComplete   = 0xFB00
	notPerformed  = 0xFB01
	topOfRange    = 0xFAFF
	scaledResults = 12 // bytes of a record
)

// Outcome of a scaled result.
type Outcome string

const (
	OutcomePassed       Outcome = "passed"
	OutcomeFailed       Outcome = "failed"
	OutcomeNotComplete  Outcome = "not complete"
	OutcomeNotPerformed Outcome = "cannot be performed"
	OutcomeNone         Outcome = "no result"
)

// Outcome compares the value with the limits: passed when it is at both or between them. Without any limit,
// or with a value out of the valid range, there is none.
func (r ScaledResult) Outcome() Outcome {
	low, high := r.Minimum <= topOfRange, r.Maximum <= topOfRange
	switch {
	case r.Value == notComplete:
		return OutcomeNotComplete
	case r.Value == notPerformed:
		return OutcomeNotPerformed
	case r.Value > topOfRange || !low && !high:
		return OutcomeNone
	case low && r.Value < r.Minimum || high && r.Value > r.Maximum:
		return OutcomeFailed
	default:
		return OutcomePassed
	}
}

// AppendText appends the result on one line.
func (r ScaledResult) AppendText(dst []byte) []byte {
	dst = fmt.Appendf(dst, "test %d of %s: ", r.Test, named(r.SPN, r.FMI))
	outcome := r.Outcome()
	dst = append(dst, outcome...)
	if r.Value > topOfRange {
		return dst
	}
	dst = r.appendScaled(append(dst, ", "...), r.Value)
	if r.Minimum <= topOfRange {
		dst = r.appendScaled(append(dst, ", at least "...), r.Minimum)
	}
	if r.Maximum <= topOfRange {
		dst = r.appendScaled(append(dst, ", at most "...), r.Maximum)
	}
	return dst
}

func (r ScaledResult) appendScaled(dst []byte, raw uint16) []byte {
	slot, ok := spn.FindSLOT(r.SLOT)
	if !ok {
		return fmt.Appendf(dst, "%d (SLOT %d)", raw, r.SLOT)
	}
	dst = slot.Scale.AppendShown(dst, uint64(raw))
	if slot.Unit != "" {
		dst = append(append(dst, ' '), slot.Unit...)
	}
	return dst
}

// MarshalJSON writes the values scaled where the SLOT is known (unit is null where it is not), null where
// they are no number.
func (r ScaledResult) MarshalJSON() ([]byte, error) {
	slot, ok := spn.FindSLOT(r.SLOT)
	number := func(raw uint16) *json.Number {
		if raw > topOfRange {
			return nil
		}
		n := json.Number(fmt.Sprint(raw))
		if ok {
			n = json.Number(slot.Scale.AppendExact(nil, uint64(raw)))
		}
		return &n
	}
	o := struct {
		Test    uint8        `json:"test"`
		SPN     uint32       `json:"spn"`
		FMI     uint8        `json:"fmi"`
		Name    string       `json:"name"`
		Outcome Outcome      `json:"outcome"`
		SLOT    uint16       `json:"slot"`
		Value   *json.Number `json:"value"`
		Minimum *json.Number `json:"minimum"`
		Maximum *json.Number `json:"maximum"`
		Unit    *string      `json:"unit"`
		Raw     uint16       `json:"raw"`
	}{Test: r.Test, SPN: r.SPN, FMI: r.FMI, Name: spn.Name(r.SPN), Outcome: r.Outcome(), SLOT: r.SLOT,
		Value: number(r.Value), Minimum: number(r.Minimum), Maximum: number(r.Maximum), Raw: r.Value}
	if ok {
		o.Unit = &slot.Unit
	}
	return json.Marshal(o)
}

// ScaledResults is DM30.
type ScaledResults []ScaledResult

// DecodeScaledResults reads DM30. What is left after the last whole record is padding.
func DecodeScaledResults(data []byte) (ScaledResults, error) {
	if len(data) < scaledResults {
		return nil, short("DM30", data, scaledResults)
	}
	results := ScaledResults{}
	for ; len(data) >= scaledResults; data = data[scaledResults:] {
		r := ScaledResult{Test: data[0], SLOT: uint16(word(data[4:])), Value: uint16(word(data[6:])),
			Maximum: uint16(word(data[8:])), Minimum: uint16(word(data[10:]))}
		r.SPN, r.FMI = numberAndFMI(data[1:])
		results = append(results, r)
	}
	return results, nil
}

// AppendText implements Message.
func (r ScaledResults) AppendText(dst []byte) []byte {
	for i, one := range r {
		if i > 0 {
			dst = append(dst, "; "...)
		}
		dst = one.AppendText(dst)
	}
	return dst
}
