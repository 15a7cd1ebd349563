package capture

import (
	"bytes"
	"encoding/binary"
	"math"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// secondsMax is the last whole second of an Instant.
const secondsMax = math.MaxInt64/1_000_000_000 - 1

// outcome says what a line of text turned out to be.
type outcome uint8

const (
	malformed outcome = iota // not understood: counted, and its place kept
	passed                   // understood and not classic CAN: counted
	frame                    // a frame
)

// unusual decodes any line that candump may write, and reports whether it was a frame. Lines of the other
// kinds are counted here.
func (c *candump) unusual(line []byte, f *can.Frame) bool {
	line = bytes.TrimSpace(line)
	if len(line) == 0 {
		return false
	}
	*f = can.Frame{}
	result := passed
	if !isComment(line) {
		result = c.parseLine(line, f)
	}
	switch result {
	case malformed:
		c.malformedLine(line)
	case passed:
		c.stats.Skipped++
	}
	return result == frame
}

func isComment(line []byte) bool {
	return line[0] == '#' || line[0] == ';' || line[0] == '%' || bytes.HasPrefix(line, []byte("//"))
}

// parseLine reads: an optional time stamp in brackets, the interface, and the frame in either form.
func (c *candump) parseLine(line []byte, f *can.Frame) outcome {
	stamp, timed := c.last, false
	if line[0] == '(' {
		end := bytes.IndexByte(line, ')')
		if end < 0 {
			return malformed
		}
		if stamp, timed = parseStamp(line[1:end]); !timed {
			return malformed
		}
		line = line[end+1:]
	}
	name, line := nextWord(line)
	word, line := nextWord(line)
	if len(word) == 0 {
		return malformed
	}
	var result outcome
	if sign := bytes.IndexByte(word, '#'); sign >= 0 {
		result = parseLog(word[:sign], word[sign+1:], line, f)
	} else {
		result = parseTable(word, line, f)
	}
	if result != frame {
		return result
	}
	channel, ok := c.channel(name)
	if !ok {
		return malformed
	}
	if !timed {
		c.untimed++
	}
	f.Time, f.Channel = stamp, channel
	c.last = stamp
	return frame
}

// parseStamp reads seconds with an optional fraction. What is finer than a nanosecond is cut off.
func parseStamp(text []byte) (clock.Instant, bool) {
	whole, fraction, _ := bytes.Cut(text, []byte{'.'})
	if len(whole) == 0 || len(whole) > 10 || len(fraction) > 18 {
		return 0, false
	}
	seconds, ok := decimal(whole)
	if !ok || seconds > secondsMax {
		return 0, false
	}
	nanos, ok := decimal(fraction)
	for range 9 - len(fraction) {
		nanos *= 10
	}
	for range len(fraction) - 9 {
		nanos /= 10
	}
	return clock.Instant(seconds*1e9 + nanos), ok
}

// decimal reads at most 18 digits.
func decimal(text []byte) (int64, bool) {
	var v int64
	for _, c := range text {
		if c < '0' || c > '9' {
			return 0, false
		}
		v = v*10 + int64(c-'0')
	}
	return v, true
}

// nextWord cuts the first word off and the spaces before it.
func nextWord(line []byte) (word, rest []byte) {
	start := 0
	for start < len(line) && isSpace(line[start]) {
		start++
	}
	end := start
	for end < len(line) && !isSpace(line[end]) {
		end++
	}
	return line[start:end], line[end:]
}

func isSpace(c byte) bool { return c == ' ' || c == '\t' }

// parseLog reads the log form: identifier#bytes, identifier#R and a length, or (skipped) identifier##... of
// CAN FD and identifier#...:... of CAN XL. After a classic frame a mark of the direction may stand.
func parseLog(id, payload, rest []byte, f *can.Frame) outcome {
	if !parseIdentifier(id, f) {
		return malformed
	}
	if len(payload) > 0 && payload[0] == '#' || bytes.IndexByte(payload, ':') >= 0 {
		return passed
	}
	if !isMark(rest) {
		return malformed
	}
	// A length code of 9..15 may follow: on the wire the frame has eight bytes all the same.
	payload, _, _ = bytes.Cut(payload, []byte{'_'})
	if len(payload) > 0 && payload[0] == 'R' {
		return parseRemote(payload[1:], f)
	}
	data, length := hexBytes(payload)
	if 2*length != len(payload) {
		return malformed
	}
	f.Length = uint8(length)
	binary.BigEndian.PutUint64(f.Data[:], data)
	return frame
}

// isMark allows what candump -x writes after a frame: R or T for its direction, B and E of CAN FD.
func isMark(rest []byte) bool {
	for _, c := range rest {
		if bytes.IndexByte([]byte(" \tRTBE"), c) < 0 {
			return false
		}
	}
	return true
}

func parseRemote(length []byte, f *can.Frame) outcome {
	f.IsRemote = true
	if len(length) == 0 {
		return frame
	}
	if len(length) != 1 || length[0] < '0' || length[0] > '8' {
		return malformed
	}
	f.Length = length[0] - '0'
	return frame
}

// parseIdentifier reads three digits (11 bit) or eight (29 bit, or the class of an error frame with its
// flag).
func parseIdentifier(text []byte, f *can.Frame) bool {
	if len(text) != 3 && len(text) != 8 {
		return false
	}
	var id uint32
	for _, c := range text {
		v := hexValue[c]
		if v > 0xF {
			return false
		}
		id = id<<4 | uint32(v)
	}
	f.Error = len(text) == 8 && id&flagError != 0
	if f.Error {
		id &^= flagError
	}
	f.IsExtended = len(text) == 8 && !f.Error
	f.ID = id
	return id <= maskExtended && (len(text) == 8 || id <= maskStandard)
}

// parseTable reads the form for people: identifier [length] bytes, with "remote request" instead of bytes,
// perhaps with the direction before and anything behind.
func parseTable(word, rest []byte, f *can.Frame) outcome {
	if bytes.Equal(word, []byte("RX")) || bytes.Equal(word, []byte("TX")) {
		_, rest = nextWord(rest) // bit rate switch
		_, rest = nextWord(rest) // error state
		word, rest = nextWord(rest)
	}
	size, rest := nextWord(rest)
	if !parseIdentifier(word, f) || len(size) < 3 || size[0] != '[' || size[len(size)-1] != ']' {
		return malformed
	}
	if len(size) == 4 { // two digits: CAN FD
		return passed
	}
	if len(size) != 3 || size[1] < '0' || size[1] > '8' {
		return malformed
	}
	f.Length = size[1] - '0'
	if tableBytes(rest, f) {
		return frame
	}
	if word, _ := nextWord(rest); bytes.Equal(word, []byte("remote")) {
		f.IsRemote = true
		return frame
	}
	return malformed
}

// tableBytes reads as many words of two digits as the frame is long.
func tableBytes(rest []byte, f *can.Frame) bool {
	at := 0
	for i := range f.Length {
		for at < len(rest) && isSpace(rest[at]) {
			at++
		}
		if at+2 > len(rest) || at+2 < len(rest) && !isSpace(rest[at+2]) {
			return false
		}
		high, low := hexValue[rest[at]], hexValue[rest[at+1]]
		if high|low > 0xF {
			return false
		}
		f.Data[i] = high<<4 | low
		at += 2
	}
	word, _ := nextWord(rest[at:])
	return f.Length > 0 || !bytes.Equal(word, []byte("remote"))
}
