package journal

import (
	"crypto/ed25519"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"holdfast/bench/samples"
)

// MaxText bounds each text of the header, in bytes. A scenario is a few KiB.
const MaxText = 4 << 20

// Header is everything needed to judge the run again without any other file.
type Header struct {
	samples.Identity
	ScenarioPath string
	ScenarioText []byte
	RigPath      string
	RigText      []byte
	DBC          []byte // nil when the rig names none

	Key  ed25519.PublicKey // that signed it, whoever's it is; nil: nobody signs (format version 1)
	Tail Tail              // what Read could not read; NewWriter takes no notice of it
}

// Tail says what follows the last good block of a journal.
type Tail struct {
	Unreadable int64  // bytes
	Why        string // "" when there are none
}

// ErrHeader says that the file is not a journal, or that its header cannot be trusted.
var ErrHeader = errors.New("the journal's header cannot be read")

// identityBlock is the JSON of an 'I' block. Its keys are part of the format.
type identityBlock struct {
	samples.Identity
	ScenarioPath  string
	RigPath       string
	ScenarioBytes int
	RigBytes      int
	DBCBytes      int
}

// encode returns the payload of the header's identity block. Text that is not UTF-8 is
// repaired with U+FFFD, so that the record can be read by anything that reads JSON.
func (h *Header) encode() ([]byte, error) {
	texts := [...]struct {
		what string
		n    int
	}{{"scenario", len(h.ScenarioText)}, {"rig", len(h.RigText)}, {"message database", len(h.DBC)}}
	for _, t := range texts {
		if t.n > MaxText {
			return nil, fmt.Errorf("write journal header: the %s is %d bytes long; at most %d would do",
				t.what, t.n, MaxText)
		}
	}
	id := h.Identity
	id.Serial = strings.ToValidUTF8(id.Serial, "\uFFFD")
	b, err := json.Marshal(identityBlock{id, h.ScenarioPath, h.RigPath,
		len(h.ScenarioText), len(h.RigText), len(h.DBC)})
	if err != nil {
		return nil, fmt.Errorf("write journal header: %w", err)
	}
	if len(b) > maxPayload {
		return nil, fmt.Errorf("write journal header: serial, paths and faults take %d bytes; "+
			"at most %d would do", len(b), maxPayload)
	}
	return b, nil
}

// decodeIdentity reads an identity block and checks the lengths it states.
func decodeIdentity(payload []byte) (Header, identityBlock, error) {
	var id identityBlock
	if err := json.Unmarshal(payload, &id); err != nil {
		return Header{}, id, fmt.Errorf("%w: identity: %w", ErrHeader, err)
	}
	for _, n := range []int{id.ScenarioBytes, id.RigBytes, id.DBCBytes} {
		if n < 0 || n > MaxText {
			return Header{}, id, fmt.Errorf("%w: a text of %d bytes is stated; 0 to %d would do",
				ErrHeader, n, MaxText)
		}
	}
	return Header{Identity: id.Identity, ScenarioPath: id.ScenarioPath, RigPath: id.RigPath}, id, nil
}
