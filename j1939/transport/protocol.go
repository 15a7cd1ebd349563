package transport

import "time"

// PGNs of the two protocols.
const (
	PGNConnection         uint32 = 60416 // TP.CM
	PGNData               uint32 = 60160 // TP.DT
	PGNExtendedConnection uint32 = 51200 // ETP.CM
	PGNExtendedData       uint32 = 50944 // ETP.DT
)

// Control bytes of TP.CM, byte 1.
//
//	            1    2          3         4        5                 6..8
//	RTS         16   size low   size high packets  most per CTS      PGN
//	CTS         17   packets    next      FF       FF                PGN
//	EndOfMsgAck 19   size low   size high packets  FF                PGN
//	BAM         32   size low   size high packets  FF                PGN
//	Abort       255  reason     FF        FF       FF                PGN
//	TP.DT       sequence 1..255, then seven bytes, the last packet padded with FF
const (
	controlRTS         = 16
	controlCTS         = 17
	controlEndOfMsgAck = 19
	controlBAM         = 32
	controlAbort       = 255
)

// Sizes.
const (
	MinSize        = 9
	MaxSize        = 1785 // 255 packets of 7
	bytesPerPacket = 7
	maxPackets     = 255
)

// Timers of J1939-21, 5.10.2.4 (clause from memory; values as in AgIsoStack++ and sae-j1939-rs).
const (
	T1 = 750 * time.Millisecond  // receiver: longest gap between two data packets
	T2 = 1250 * time.Millisecond // receiver: from its CTS to the first data packet
	T3 = 1250 * time.Millisecond // sender: from the last packet to CTS or end of message
	T4 = 1050 * time.Millisecond // sender: from a CTS that holds to the next CTS
	Th = 500 * time.Millisecond  // receiver: longest time between two CTS that hold
	Tr = 200 * time.Millisecond  // longest time to a response

	BroadcastGap = 50 * time.Millisecond // shortest time between two packets of a broadcast (longest: 200 ms)
)

// MaxRepeats is how often the same packets may be asked for again (from memory: two retransmit requests).
const MaxRepeats = 2

// packetsFor is the number of packets a size needs.
func packetsFor(size int) int { return (size + bytesPerPacket - 1) / bytesPerPacket }
