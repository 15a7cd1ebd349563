package diag

import "strings"

// LampState is the state of one lamp, SPN 1213, 623, 624, 987.
type LampState uint8

const (
	LampOff          LampState = 0
	LampOn           LampState = 1
	LampReserved     LampState = 2
	LampNotAvailable LampState = 3
)

var lampNames = [4]string{"off", "on", "reserved", "not available"}

func (l LampState) String() string { return lampNames[l&3] }

// Flash says how a lamp that is on flashes, SPN 3038 to 3041.
type Flash uint8

const (
	FlashSlow     Flash = 0 // 1 Hz
	FlashFast     Flash = 1 // 2 Hz or faster
	FlashReserved Flash = 2
	FlashNone     Flash = 3 // does not flash, or not available
)

var flashNames = [4]string{"slow", "fast", "reserved", "none"}

func (f Flash) String() string { return flashNames[f&3] }

// Lamp is one of the four lamps.
type Lamp struct {
	State LampState
	Flash Flash
}

// Lamps is what the first two bytes of a fault list say.
type Lamps struct {
	MIL, RedStop, AmberWarning, Protect Lamp
}

// DecodeLamps reads the lamp byte and the flash byte.
func DecodeLamps(state, flash byte) Lamps {
	at := func(shift uint) Lamp { return Lamp{LampState(state >> shift & 3), Flash(flash >> shift & 3)} }
	return Lamps{MIL: at(6), RedStop: at(4), AmberWarning: at(2), Protect: at(0)}
}

// Encode returns the lamp byte and the flash byte.
func (l Lamps) Encode() (state, flash byte) {
	for i, lamp := range [4]Lamp{l.Protect, l.AmberWarning, l.RedStop, l.MIL} {
		state |= byte(lamp.State&3) << (2 * i)
		flash |= byte(lamp.Flash&3) << (2 * i)
	}
	return state, flash
}

// Each calls f for every lamp with its name: mil, red_stop, amber_warning, protect.
func (l Lamps) Each(f func(name string, lamp Lamp)) {
	f("mil", l.MIL)
	f("red_stop", l.RedStop)
	f("amber_warning", l.AmberWarning)
	f("protect", l.Protect)
}

// String names the lamps that are on: "MIL on, amber warning flashing fast"; "no lamp" otherwise.
func (l Lamps) String() string {
	var on []string
	l.Each(func(name string, lamp Lamp) {
		if lamp.State != LampOn {
			return
		}
		name = strings.Replace(strings.ReplaceAll(name, "_", " "), "mil", "MIL", 1)
		switch lamp.Flash {
		case FlashSlow, FlashFast:
			on = append(on, name+" flashing "+lamp.Flash.String())
		default:
			on = append(on, name+" on")
		}
	})
	if len(on) == 0 {
		return "no lamp"
	}
	return strings.Join(on, ", ")
}
