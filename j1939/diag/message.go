package diag

import (
	"errors"
	"fmt"
)

// PGNs of the diagnostic messages that are no fault lists.
const (
	DM3  uint32 = 65228 // to request it is to ask for previously active codes to be cleared; answered by PGN 59392
	DM4  uint32 = 65229 // freeze frames
	DM5  uint32 = 65230 // readiness
	DM7  uint32 = 58112 // command a test
	DM8  uint32 = 65232 // result of a test
	DM10 uint32 = 65234 // the tests a controller knows
	DM11 uint32 = 65235 // the same for active codes
	DM13 uint32 = 57088 // stop and start broadcast
	DM19 uint32 = 54016 // calibrations
	DM20 uint32 = 49664 // how often monitors ran
	DM22 uint32 = 49920 // clear one code
	DM24 uint32 = 64950 // which parameters are in freeze frames, data stream and tests
	DM25 uint32 = 64951 // expanded freeze frames
	DM26 uint32 = 64952 // readiness, this cycle
	DM29 uint32 = 40448 // numbers of codes
	DM30 uint32 = 41984 // scaled test results
	DM31 uint32 = 41728 // which code lights which lamp
)

// Message is a diagnostic message that is no fault list. encoding/json writes it in the same terms.
type Message interface {
	// AppendText appends what the message says, on one line, for a person.
	AppendText(dst []byte) []byte
}

// ErrUnknown says that a group is no diagnostic message that DecodeMessage reads.
var ErrUnknown = errors.New("not a diagnostic message that can be read")

var decoders = map[uint32]func(data []byte, old Version) (Message, error){
	DM4:  of(DecodeFreezeFrames),
	DM5:  of(func(data []byte, _ Version) (Readiness, error) { return DecodeReadiness(data) }),
	DM7:  of(func(data []byte, _ Version) (TestCommand, error) { return DecodeTestCommand(data) }),
	DM8:  of(func(data []byte, _ Version) (TestResult, error) { return DecodeTestResult(data) }),
	DM10: of(func(data []byte, _ Version) (TestIdentifiers, error) { return DecodeTestIdentifiers(data) }),
	DM13: of(func(data []byte, _ Version) (Broadcast, error) { return DecodeBroadcast(data) }),
	DM19: of(func(data []byte, _ Version) (Calibrations, error) { return DecodeCalibrations(data) }),
	DM20: of(func(data []byte, _ Version) (Performance, error) { return DecodePerformance(data) }),
	DM22: of(func(data []byte, _ Version) (ClearOne, error) { return DecodeClearOne(data) }),
	DM24: of(func(data []byte, _ Version) (Support, error) { return DecodeSupport(data) }),
	DM25: of(DecodeExpandedFrames),
	DM26: of(func(data []byte, _ Version) (CycleReadiness, error) { return DecodeCycleReadiness(data) }),
	DM29: of(func(data []byte, _ Version) (CodeCounts, error) { return DecodeCodeCounts(data) }),
	DM30: of(func(data []byte, _ Version) (ScaledResults, error) { return DecodeScaledResults(data) }),
	DM31: of(DecodeLampAssociations),
}

// of gives a decoder the common result type.
func of[M Message](decode func([]byte, Version) (M, error)) func([]byte, Version) (Message, error) {
	return func(data []byte, old Version) (Message, error) {
		m, err := decode(data, old)
		if err != nil {
			return nil, err
		}
		return m, nil
	}
}

// Reads says that DecodeMessage reads messages of the group.
func Reads(pgn uint32) bool { return decoders[pgn] != nil }

// Repeats says that the group's data is records of which there may be any number, so that parameters with a
// fixed place tell at most the first.
func Repeats(pgn uint32) bool {
	switch pgn {
	case DM4, DM19, DM20, DM24, DM25, DM30, DM31:
		return true
	}
	return false
}

// DecodeMessage reads a diagnostic message that is no fault list. old is the version that a set conversion
// bit of a trouble code stands for. Errors: ErrUnknown, ErrShort.
func DecodeMessage(pgn uint32, data []byte, old Version) (Message, error) {
	decode := decoders[pgn]
	if decode == nil {
		return nil, fmt.Errorf("decode PGN %d: %w", pgn, ErrUnknown)
	}
	return decode(data, old)
}

func short(what string, data []byte, needs int) error {
	return fmt.Errorf("decode %s of %d bytes, needs at least %d: %w", what, len(data), needs, ErrShort)
}

func word(b []byte) uint64 { return uint64(b[0]) | uint64(b[1])<<8 }

// numberAndFMI reads three bytes: SPN 8..1, SPN 16..9, SPN 19..17 with the FMI below them.
func numberAndFMI(b []byte) (number uint32, fmi uint8) {
	return uint32(b[0]) | uint32(b[1])<<8 | uint32(b[2]>>highestSPNBitShift)<<16, b[2] & MaxFMI
}

// putNumberAndFMI writes what numberAndFMI reads.
func putNumberAndFMI(b []byte, number uint32, fmi uint8) error {
	if number > MaxSPN || fmi > MaxFMI {
		return fmt.Errorf("SPN %d FMI %d does not fit 19 and 5 bits", number, fmi)
	}
	b[0], b[1], b[2] = byte(number), byte(number>>8), byte(number>>16)<<highestSPNBitShift|fmi
	return nil
}
