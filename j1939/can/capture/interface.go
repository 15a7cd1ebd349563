package capture

import (
	"errors"
	"fmt"
	"math/bits"

	"holdfast/j1939/clock"
)

// Options of an interface description block, and limits.
const (
	optionEnd        = 0
	optionName       = 2
	optionResolution = 9
	optionOffset     = 14

	interfacesMax = 4096 // of one section; each costs memory
)

// ngInterface is one interface of a pcapng section.
type ngInterface struct {
	link       uint16
	snapLength uint32
	channel    uint8
	// A stamp of u units is u*multiply/divide ns when shift is 0, else u/2^shift s; plus offset.
	multiply, divide uint64
	shift            uint8
	offset           int64 // ns
	last             clock.Instant
}

// instant converts a stamp in the interface's unit. What lies outside the range of an Instant wraps.
func (i *ngInterface) instant(units uint64) clock.Instant {
	if i.shift == 0 && i.divide == 1 { // nearly all files
		return clock.Instant(int64(units*i.multiply) + i.offset)
	}
	if i.shift == 0 {
		return clock.Instant(int64(units/i.divide) + i.offset)
	}
	seconds := units >> i.shift
	high, low := bits.Mul64(units&(1<<i.shift-1), 1e9)
	return clock.Instant(int64(seconds*1e9+(high<<(64-i.shift)|low>>i.shift)) + i.offset)
}

// setResolution reads if_tsresol: a negative power of ten, or of two when the top bit is set.
func (i *ngInterface) setResolution(v byte) error {
	power := v & 0x7F
	switch {
	case v&0x80 != 0 && power > 0 && power < 64:
		i.shift = power
	case v == 0x80, v == 0: // whole seconds
		i.multiply, i.divide = 1e9, 1
	case v&0x80 != 0, power > 9+19: // 2^-64 and 10^-29 do not fit what they are divided by
		return fmt.Errorf("an interface whose time unit is 0x%02x", v)
	case power <= 9:
		i.multiply, i.divide = powerOfTen(9-power), 1
	default:
		i.multiply, i.divide = 1, powerOfTen(power-9)
	}
	return nil
}

func powerOfTen(n byte) uint64 {
	p := uint64(1)
	for range n {
		p *= 10
	}
	return p
}

// addInterface reads an interface description: 0 link type | 2 reserved | 4 snap length | 8 options.
func (p *pcapng) addInterface(body []byte) error {
	if len(body) < 8 {
		return errors.New("an interface description that is too short")
	}
	if len(p.interfaces) == interfacesMax {
		return fmt.Errorf("more than %d interfaces in a section", interfacesMax)
	}
	// Without an option the unit is a microsecond.
	i := ngInterface{link: p.u16(body), snapLength: p.u32(body[4:]), multiply: 1000, divide: 1}
	name, err := p.interfaceOptions(body[8:], &i)
	if err != nil {
		return err
	}
	if name == nil {
		name = fmt.Appendf(nil, "interface %d", len(p.interfaces))
	}
	if i.link == linkSocketCAN {
		channel, ok := p.tally.channel(name)
		if !ok {
			return fmt.Errorf("more than %d CAN interfaces", channelsMax)
		}
		i.channel = channel
	}
	p.interfaces = append(p.interfaces, i)
	return nil
}

// interfaceOptions reads the options that matter, and returns the interface's name or nil.
func (p *pcapng) interfaceOptions(options []byte, i *ngInterface) (name []byte, err error) {
	for len(options) >= 4 {
		code, length := p.u16(options), int(p.u16(options[2:]))
		padded := (length + 3) &^ 3
		if code == optionEnd {
			return name, nil
		}
		if padded > len(options)-4 {
			return nil, errors.New("an interface option that is longer than its block")
		}
		value := options[4 : 4+length]
		switch {
		case code == optionName && length > 0:
			name = value[:min(length, 64)]
		case code == optionResolution && length == 1:
			if err := i.setResolution(value[0]); err != nil {
				return nil, err
			}
		case code == optionOffset && length == 8:
			i.offset = p.seconds(value) * 1e9
		}
		options = options[4+padded:]
	}
	return name, nil
}

// seconds reads a signed 64-bit number.
func (p *pcapng) seconds(b []byte) int64 {
	if p.big {
		return int64(uint64(p.u32(b))<<32 | uint64(p.u32(b[4:])))
	}
	return int64(uint64(p.u32(b[4:]))<<32 | uint64(p.u32(b)))
}
