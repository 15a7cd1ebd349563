package controller

import einride "go.einride.tech/can"

// dtc is one trouble code that this controller can find: SPN and FMI (SAE J1939-73).
type dtc struct {
	spn uint32
	fmi uint8
}

// The codes, in the order in which DM1 lists them.
var codes = [...]dtc{
	{4334, 3},  // doser absolute pressure: voltage above normal
	{4334, 4},  // voltage below normal
	{4334, 18}, // below normal, moderately severe: pressure does not come
	{4376, 5},  // diverter valve: current below normal or open
}

const (
	sensorHigh = iota
	sensorLow
	noPressure
	valveOpen
	numCodes
)

// faults is what is active, and how often each has come.
type faults struct {
	active [numCodes]bool
	count  [numCodes]uint8
	held   [numCodes]int // ticks for which the sign has been there
}

// debounce is for how many ticks a sign must last. Common practice, no source.
const debounce = 50

// leastCoil is the coil current, A, below which an energised valve counts as open.
const leastCoil = 0.5

// watch looks for faults.
func (c *Controller) watch() {
	s := &c.senses
	c.sign(sensorHigh, !s.PressureOK && s.Pressure > 1400)
	c.sign(sensorLow, !s.PressureOK && s.Pressure <= 1400)
	c.sign(valveOpen, c.out.Valve && s.Coil < leastCoil)
	target := nominal
	if c.request == Priming {
		target = primed
	}
	if !c.wantsPressure() || s.PressureOK && c.gauge() > 0.9*target {
		c.building = 0
	} else {
		c.building += Tick.Seconds()
	}
	c.sign(noPressure, c.building > patience)
}

// sign holds a code active from when its sign has lasted; it stays until the power goes, as
// nothing here proves it healed.
func (c *Controller) sign(code int, there bool) {
	f := &c.faults
	if !there {
		f.held[code] = 0
		return
	}
	f.held[code]++
	if f.held[code] == debounce && !f.active[code] {
		f.active[code] = true
		f.count[code]++
	}
}

// bytes packs DM1: two lamp bytes (amber on while anything is active; flash not available), then
// four bytes a code, conversion method version 4. Without a code the four bytes are zero.
func (f *faults) bytes(out []byte) []byte {
	lamps := byte(0)
	n := 0
	for _, a := range f.active {
		if a {
			lamps, n = 0x04, n+1
		}
	}
	out = append(out, lamps, 0xFF)
	for i, a := range f.active {
		if a {
			d := codes[i]
			out = append(out, byte(d.spn), byte(d.spn>>8), byte(d.spn>>16)<<5|d.fmi&0x1F, f.count[i]&0x7F)
		}
	}
	if n == 0 {
		out = append(out, 0, 0, 0, 0)
	}
	return out
}

// long cuts a message of more than eight bytes into a broadcast announcement and its packets (BAM, SAE
// J1939-21): sequence number and seven bytes each, the last filled up with FFh.
func long(out []einride.Frame, pgn uint32, data []byte) []einride.Frame {
	packets := (len(data) + 6) / 7
	f := einride.Frame{ID: idBroadcast, Length: 8, IsExtended: true}
	f.Data = einride.Data{32, byte(len(data)), byte(len(data) >> 8), byte(packets), 0xFF,
		byte(pgn), byte(pgn >> 8), byte(pgn >> 16)}
	out = append(out, f)
	for i := range packets {
		f := einride.Frame{ID: idTransfer, Length: 8, IsExtended: true}
		f.Data = einride.Data{byte(i + 1), 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF}
		copy(f.Data[1:], data[7*i:min(7*i+7, len(data))])
		out = append(out, f)
	}
	return out
}
