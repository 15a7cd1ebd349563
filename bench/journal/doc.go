// Package journal keeps what happened in a run, as it happens: an append-only, checksummed binary
// file that can be read after any end of the process with all but the last second in it.
//
// # Format, version 1
//
// All numbers are little endian. Times are nanoseconds since 1970-01-01T00:00:00Z in an int64.
//
//	file   = magic version block*
//	magic  = 89 48 46 4A 0D 0A 1A 0A   (like PNG's, it shows a transfer that changed line ends)
//	version= uint32, 1
//	block  = length uint32 | type uint8 | 0 0 0 | crc uint32 | payload (length bytes)
//
// The checksum is CRC-32C (Castagnoli) over the first 8 bytes of the block and its payload. A whole
// block is at most 64 KiB. Types of block:
//
//	'I'  identity: JSON, one block, the first of the file; it states how long the texts are
//	'S'  a piece of the scenario's text; pieces follow each other
//	'R'  a piece of the rig's text
//	'B'  a piece of the message database (DBC)
//	'D'  records
//
// Records inside a 'D' block, back to back; a record never crosses a block:
//
//	1 reading     channel uint8 | status uint8 | time | value float64           19 bytes
//	2 command     command uint8 | time | value float64                          18 bytes
//	3 step start  time | index uint16 | kind uint8 | name text
//	4 step end    time | index uint16 | outcome uint8 | note text
//	5 event       time | text
//	6 fault       source uint8 | fmi uint8 | count uint8 | active uint8 | spn uint32 | first | last
//	7 trip        time | name text | reading text | limit text | next text
//	8 end         time | ended uint8 | frames lost uint64
//	9 timing      cycles uint64 | overruns uint64 | worst, median, 99 %, 99.9 %: int64, in ns
//	10 answer     time | index uint16 | state uint8 | question text | answer text | from text
//
// where text = length uint16 | UTF-8, at most 4 KiB (longer text is cut, at a rune). Numbers of channels,
// commands, statuses, kinds, outcomes and ends are those of the packages rig, spn, scenario and samples,
// which only ever append to them.
//
// # Format, version 2
//
// A version 1 that is signed as it grows, so that it is proof against a person who wants to change it:
//
//	'K'  the public key (Ed25519, 32 bytes); the first block, before the identity
//	'G'  a signature (64 bytes) by that key over "holdfast-journal-2\n" and the chain's head before this block
//
// The chain's head begins as the SHA-256 of magic and version; each whole block, signatures too, makes it the
// SHA-256 of the head before and the block. The header, every second of the run, every step and the end
// are signed. A reader takes nothing that no good signature covers: after a kill that is the last second.
//
// # What it does not do
//
// It judges nothing and compresses nothing. It does not know whose key is to be trusted, no file name and no
// folder: see bench/record.
package journal
