package capture

import (
	"encoding/binary"

	"holdfast/j1939/can"
)

// Link types (https://www.tcpdump.org/linktypes.html).
const linkSocketCAN = 227

// Layout of a LINKTYPE_CAN_SOCKETCAN packet:
//
//	0..3 identifier and flags, big-endian | 4 payload length | 5 FD flags | 6..7 reserved | 8.. payload
const (
	packetLength  = 4
	packetFD      = 5
	packetPayload = 8
	packetBytes   = packetPayload + 8 // what Linux captures of a classic frame, whatever its length
)

// Flags of the identifier word (Linux include/uapi/linux/can.h), and of the FD flags: bit rate switch,
// error state and FDF, which marks a CAN FD frame.
const (
	flagExtended = 1 << 31
	flagRemote   = 1 << 30
	flagError    = 1 << 29
	flagFDF      = 0x04
	flagsFD      = 0x07
	maskExtended = 1<<29 - 1
	maskStandard = 1<<11 - 1
)

// isFD tells a CAN FD frame of at most eight bytes. Of a classic frame the same bytes are padding, which
// older kernels and drivers leave uninitialised (real recordings have 0x2E there), so only what is a
// possible set of flags before reserved bytes of 0 is believed.
func isFD(packet []byte) bool {
	return packet[packetFD]&flagFDF != 0 && packet[packetFD]&^flagsFD == 0 && packet[6]|packet[7] == 0
}

// parsePacket decodes a packet into f but for its time and channel. It reports false for what is not a
// classic frame: CAN FD and CAN XL (whose length field, or flag in its place, is above 8) or one cut short.
func parsePacket(packet []byte, f *can.Frame) bool {
	if len(packet) < packetPayload {
		return false
	}
	length := packet[packetLength]
	if length > 8 || isFD(packet) {
		return false
	}
	word := binary.BigEndian.Uint32(packet)
	f.Length = length
	f.IsExtended = word&flagExtended != 0
	f.IsRemote = word&flagRemote != 0
	f.Error = word&flagError != 0
	f.ID = word & maskExtended
	if !f.IsExtended && !f.Error {
		f.ID = word & maskStandard
	}
	if f.IsRemote {
		f.Data = [8]byte{}
		return true
	}
	if len(packet) >= packetBytes && length == 8 { // nearly all frames
		f.Data = [8]byte(packet[packetPayload:packetBytes])
		return true
	}
	f.Data = [8]byte{}
	if len(packet) < packetPayload+int(length) {
		return false
	}
	copy(f.Data[:], packet[packetPayload:packetPayload+int(length)])
	return true
}

// putPacket writes f as a packet of packetBytes.
func putPacket(packet *[packetBytes]byte, f *can.Frame) {
	word := f.ID
	if f.IsExtended {
		word |= flagExtended
	}
	if f.IsRemote {
		word |= flagRemote
	}
	if f.Error {
		word |= flagError
	}
	*packet = [packetBytes]byte{packetLength: f.Length}
	binary.BigEndian.PutUint32(packet[:], word)
	if !f.IsRemote {
		copy(packet[packetPayload:], f.Data[:f.Length])
	}
}
