package capture

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
)

// sniffBytes is how much of a recording is looked at before its format is decided: the
// longest file header, and enough text to see that it is text.
const sniffBytes = 512

// ErrFormat says that a file is not a recording that can be read.
var ErrFormat = errors.New("not a recording that can be read (candump text, pcap, pcapng or MDF 4)")

// sniff chooses the decoder by the first bytes.
func sniff(head []byte, t *tally) (decoder, error) {
	if len(head) >= 4 {
		magic := binary.LittleEndian.Uint32(head)
		switch magic {
		case blockSection: // reads the same in both orders
			return &pcapng{tally: t}, nil
		case pcapMicroseconds, pcapNanoseconds:
			return newPcap(head, binary.LittleEndian, t)
		}
		switch binary.BigEndian.Uint32(head) {
		case pcapMicroseconds, pcapNanoseconds:
			return newPcap(head, binary.BigEndian, t)
		}
	}
	if bytes.HasPrefix(head, []byte{0x1f, 0x8b}) {
		return nil, fmt.Errorf("%w: it is gzip: decompress it first", ErrFormat)
	}
	if bytes.IndexByte(head, 0) >= 0 {
		return nil, fmt.Errorf("%w: it is binary and begins with % x", ErrFormat, head[:min(len(head), 8)])
	}
	return &candump{tally: t}, nil
}
