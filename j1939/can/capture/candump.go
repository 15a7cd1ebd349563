package capture

import (
	"bytes"
	"encoding/binary"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// candump decodes the text of candump, one frame a line.
type candump struct {
	*tally
	last     clock.Instant // time of the line before, for lines without one
	overlong bool          // inside a line that is too long to be a frame
}

func (c *candump) decode(data []byte, final bool, dst []can.Frame) (n, used int, err error) {
	for n < len(dst) {
		rest := data[used:]
		f := &dst[n]
		if size := c.usual(rest, f); size > 0 {
			c.line++
			c.count(f)
			n++
			used += size
			continue
		}
		end := bytes.IndexByte(rest, '\n')
		size := end + 1
		if end < 0 && !final {
			return n, used + c.unfinished(rest), nil
		}
		if end < 0 {
			end, size = len(rest), len(rest)
		}
		if size == 0 {
			return n, used, nil
		}
		used += size
		c.line++
		if c.overlong { // its end: counted when it began
			c.overlong = false
			continue
		}
		if c.unusual(rest[:end], f) {
			c.count(f)
			n++
		}
	}
	return n, used, nil
}

// unfinished returns the bytes to give up of a line that has no end yet: all when it is longer than any
// frame, so that a file without line ends does not fill memory.
func (c *candump) unfinished(rest []byte) int {
	if len(rest) < maxRecord {
		return 0
	}
	if !c.overlong {
		c.overlong = true
		c.line++
		c.malformedLine(rest)
		c.line--
	}
	return len(rest)
}

// Places in the usual line, which candump -L has written since there is candump:
//
//	(1622547830.084000) can0 0CF00300#FFFE00FFFFFF00FF
const (
	usualSeconds  = 1
	usualPoint    = 11
	usualFraction = 12
	usualClose    = 18
	usualName     = 20
	usualMax      = usualName + 16 + 1 + 8 + 1 + 16 + 1 // longest interface name (IFNAMSIZ) and all else
)

// usual decodes the line at the start of b, if it is a usual one of a data frame and whole, and returns its
// length with its end; otherwise 0, and the line is looked at again with more patience.
func (c *candump) usual(b []byte, f *can.Frame) int {
	if len(b) < usualMax || b[0] != '(' || b[usualPoint] != '.' || b[usualClose] != ')' ||
		b[usualName-1] != ' ' {
		return 0
	}
	stamp, ok := usualStamp(b)
	if !ok {
		return 0
	}
	i := usualName
	for i < usualName+16 && b[i] > ' ' {
		i++
	}
	if i == usualName || b[i] != ' ' {
		return 0
	}
	name := b[usualName:i]
	i++
	id, digits := usualIdentifier(b[i:])
	if digits == 0 {
		return 0
	}
	i += digits + 1
	data, length := hexBytes(b[i:])
	i += 2 * length
	if b[i] == '\r' {
		i++
	}
	if i >= len(b) || b[i] != '\n' {
		return 0
	}
	channel, ok := c.channel(name)
	if !ok {
		return 0
	}
	f.ID, f.IsExtended, f.IsRemote = id, digits == 8, false
	f.Length = uint8(length)
	binary.BigEndian.PutUint64(f.Data[:], data)
	f.Time, f.Channel, f.Error = stamp, channel, false
	c.last = stamp
	return i + 1
}

// usualIdentifier reads eight or three hexadecimal digits before a number sign; digits is 0 when there are
// none, or when they are no identifier (error frames have a bit above the identifier's).
func usualIdentifier(b []byte) (id uint32, digits int) {
	switch {
	case b[8] == '#':
		digits = 8
	case b[3] == '#':
		digits = 3
	default:
		return 0, 0
	}
	bad := byte(0)
	for _, c := range b[:digits] {
		v := hexValue[c]
		bad |= v
		id = id<<4 | uint32(v&0xF)
	}
	if bad > 0xF || id > maskExtended || digits == 3 && id > maskStandard {
		return 0, 0
	}
	return id, digits
}

// hexBytes reads up to eight bytes of two digits, the first in the highest byte of data.
func hexBytes(b []byte) (data uint64, length int) {
	for length < 8 && len(b) >= 2 {
		high, low := hexValue[b[0]], hexValue[b[1]]
		if high|low > 0xF {
			break
		}
		data |= uint64(high<<4|low) << (56 - 8*length)
		length++
		b = b[2:]
	}
	return data, length
}

// usualStamp reads ten digits of seconds and six of a fraction.
func usualStamp(b []byte) (clock.Instant, bool) {
	head, ok1 := eightDigits(binary.LittleEndian.Uint64(b[usualSeconds:]))
	tail, ok2 := eightDigits(binary.LittleEndian.Uint64(b[usualSeconds+2:]))
	// The six digits of the fraction and two zeros put before them.
	micros, ok3 := eightDigits(binary.LittleEndian.Uint64(b[usualFraction:])<<16 | 0x3030)
	seconds := int64(head/1_000_000)*100_000_000 + int64(tail)
	return clock.Instant(seconds*1e9 + int64(micros)*1000), ok1 && ok2 && ok3 && seconds <= secondsMax
}

// eightDigits converts eight ASCII digits, the first in the lowest byte, all at once: pairs, then pairs of
// pairs, then both halves, each by one multiplication. False when one is not a digit.
func eightDigits(word uint64) (uint32, bool) {
	const (
		zeros = 0x3030303030303030
		highs = 0xF0F0F0F0F0F0F0F0
		pairs = 0x000000FF000000FF
	)
	ok := word&highs == zeros && (word+0x0606060606060606)&highs == zeros
	word -= zeros
	word = word*10 + word>>8
	low := (word & pairs) * (100 + 1_000_000<<32)
	high := (word >> 16 & pairs) * (1 + 10_000<<32)
	return uint32((low + high) >> 32), ok
}

// hexValue is the value of a hexadecimal digit; above 0xF for what is none.
var hexValue = func() (t [256]byte) {
	for i := range t {
		t[i] = 0xFF
	}
	for i := range 10 {
		t['0'+i] = byte(i)
	}
	for i := range 6 {
		t['a'+i], t['A'+i] = byte(10+i), byte(10+i)
	}
	return t
}()
