package torture

import (
	"encoding/binary"
	"strings"
	"time"

	einride "go.einride.tech/can"

	"holdfast/bench/rig"
)

// A unit with its own controller (rig unit-controller) is asked for what it does and answers in the
// standard's messages; the checkers look at these (SAE J1939-71: PGN 61475 and 61476).
const (
	idDosing    = 0x0CF0233D // of the unit: SPN 4334, doser absolute pressure, in byte 6, 8 kPa per bit
	pgnRequests = 0xF024     // SPN 4348, quantity, in bytes 1 and 2, SPN 4349, state, in the low half of byte 3
	// How long the simulated unit goes on after its last request. The bench node's time-out does not reach it.
	ownTimeout = time.Second
	ownTick    = 10 * time.Millisecond // how often it works
	// Five intervals of 50 ms, and the cycles that find and say it.
	ownStaleLimit = 350 * time.Millisecond
	// Its own sensor is all there is: 8 kPa per bit, 1 % of 14 bar, and what it climbs between two messages,
	// bar.
	ownMargin = 0.40
)

func isRequest(f *einride.Frame) bool { return f.IsExtended && f.ID>>8&0x3FFFF == pgnRequests }

// gauge is the channel that the pressure is read from: the reference, or the only one there is.
func (t *trial) gauge() rig.Channel {
	if t.own {
		return rig.LinePressure
	}
	return rig.ReferencePressure
}

// lies says that the unit's own sensor does not show the truth and that nothing else would.
func (t *trial) lies() bool {
	if !t.own {
		return false
	}
	for name := range t.faults {
		if strings.HasPrefix(name, "sensor") {
			return true
		}
	}
	return t.has(frozen, corruption)
}

// stale is the longest hole in the gauge's readings that the interlock lets through.
func (t *trial) stale() time.Duration {
	if t.own {
		return ownStaleLimit
	}
	return staleLimit
}

// timeout is how long the outputs may stay on after the last command.
func (t *trial) timeout() time.Duration {
	if t.own {
		return ownTimeout + 2*ownTick
	}
	return nodeTimeout
}

func (t *trial) length() time.Duration {
	if t.own {
		return ownLength
	}
	return usualLength
}

// margin is by how much the pressure may be above what a gauge shows of it, bar.
func (t *trial) margin() float64 {
	if t.own {
		return ownMargin
	}
	return gaugeMargin
}

// rests says that a command leaves every output at rest; the vent may be open.
func (t *trial) rests(f *einride.Frame) bool {
	switch {
	case isRequest(f): // nothing asked for, and dormant
		return f.Data[0]|f.Data[1] == 0 && f.Data[2]&0x0F == 0
	case t.own: // the node has the return's shut-off only
		return f.Data[4]&0x0C == 0
	}
	return f.Data[0]|f.Data[1]|f.Data[2]|f.Data[3] == 0 && f.Data[4]&0x3F == 0
}

// spoilOwn changes what the unit's own controller says of the pressure.
func (b *bench) spoilOwn(t *trouble, f *einride.Frame) {
	switch t.kind {
	case dropout:
		f.Data[5] = [...]byte{0xFE, 0xFF, 0xFB}[t.pick%3]
	case surge:
		f.Data[5] = byte(min(int(f.Data[5])+12*(t.pick+1), 0xFA)) // 0.96 bar each
	case frozen:
		f.Data[5] = byte(b.frozen)
	}
}

// pressures reads the two gauges of the bench node's message, bar absolute.
func pressures(f *einride.Frame) (unit, reference float64, unitOK, referenceOK bool) {
	word := func(i int) (float64, bool) {
		raw := binary.LittleEndian.Uint16(f.Data[i:])
		return float64(raw) * 0.05 / 100, int(f.Length) >= i+2 && valid(raw)
	}
	unit, unitOK = word(0)
	reference, referenceOK = word(2)
	return unit, reference, unitOK, referenceOK
}
