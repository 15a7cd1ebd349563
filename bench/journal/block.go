package journal

import (
	"encoding/binary"
	"hash/crc32"
)

const (
	magic      = "\x89HFJ\r\n\x1a\n"
	version    = 1
	versionTwo = 2 // chained and signed
	maxBlock   = 64 << 10
	blockHead  = 12
	maxPayload = maxBlock - blockHead
	maxString  = 4 << 10
)

const (
	blockIdentity = 'I'
	blockScenario = 'S'
	blockRig      = 'R'
	blockDBC      = 'B'
	blockRecords  = 'D'
	blockKey      = 'K'
	blockSign     = 'G'
)

const (
	recReading = 1 + iota
	recCommand
	recStepStart
	recStepEnd
	recEvent
	recFault
	recTrip
	recEnd
	recTiming
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// sealBlock fills in the head of a block: b holds blockHead free bytes and then the payload.
func sealBlock(b []byte, kind byte) {
	binary.LittleEndian.PutUint32(b, uint32(len(b)-blockHead))
	b[4], b[5], b[6], b[7] = kind, 0, 0, 0
	binary.LittleEndian.PutUint32(b[8:], blockSum(b[:8], b[blockHead:]))
}

// blockSum returns the checksum of a block from the first 8 bytes of its head and its payload.
func blockSum(head, payload []byte) uint32 {
	return crc32.Update(crc32.Checksum(head, castagnoli), castagnoli, payload)
}
