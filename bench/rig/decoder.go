package rig

import (
	"holdfast/j1939/can"
	"holdfast/j1939/id"
	"holdfast/j1939/spn"
)

// Decoder turns frames into readings. It allocates nothing after NewDecoder. Not for use by
// several goroutines at a time: it remembers the last barometer reading.
type Decoder struct {
	bySource     map[uint32][]*Instrument // PGN<<8 | source
	byPGN        map[uint32][]*Instrument // whoever sends it
	commands     map[uint32]bool          // PGNs in which we command
	node         uint8
	ambient      float64 // bar absolute, last valid reading
	ambientKnown bool
	lowest       float64 // what the barometer can truly read, bar absolute
	highest      float64
}

// NewDecoder prepares a decoder for a rig.
func NewDecoder(r *Rig) *Decoder {
	d := &Decoder{bySource: map[uint32][]*Instrument{}, byPGN: map[uint32][]*Instrument{},
		commands: map[uint32]bool{}, node: r.Node,
		ambient: r.Barometer.Value, ambientKnown: r.Barometer.Value > 0}
	d.lowest, d.highest, _ = r.Atmosphere()
	d.add(r.Channels[AmbientPressure]) // first, so that gauge readings in the same frame use it
	for _, in := range r.Channels {
		if in != nil && in.Channel != AmbientPressure {
			d.add(in)
		}
	}
	for _, a := range r.Commands {
		if a != nil {
			d.commands[a.Signal.ID.PGN()] = true
		}
	}
	return d
}

func (d *Decoder) add(in *Instrument) {
	if in == nil {
		return
	}
	pgn := in.Signal.ID.PGN()
	if in.Signal.AnySource {
		d.byPGN[pgn] = append(d.byPGN[pgn], in)
		return
	}
	key := pgn<<8 | uint32(in.Signal.ID.Source())
	d.bySource[key] = append(d.bySource[key], in)
}

// Decode appends to out the readings that a frame carries: none for a frame that maps no
// channel. A status other than Valid comes without a number. A frame too short for a field
// gives that channel as not available: its sender did not send it.
//
// A pressure flagged absolute is made gauge with the last valid barometer reading; before the
// first one it is not available. Barometric pressure moves by less than 1 mbar in the minutes
// of a run, so an older reading serves; whether the barometer is still alive is for the
// interlock to watch. A reading that cannot be true on this bench is handed on and not used.
func (d *Decoder) Decode(f can.Frame, out []Reading) []Reading {
	if !speaksJ1939(f) {
		return out
	}
	i := id.ID(f.ID)
	pgn := i.PGN()
	for _, in := range d.bySource[pgn<<8|uint32(i.Source())] {
		out = append(out, d.read(in, f))
	}
	for _, in := range d.byPGN[pgn] {
		out = append(out, d.read(in, f))
	}
	return out
}

func (d *Decoder) read(in *Instrument, f can.Frame) Reading {
	r := Reading{Time: f.Time, Channel: in.Channel}
	r.Value, r.Status = in.Signal.value(f.Frame)
	switch {
	case r.Status != spn.Valid:
	case in.Channel == AmbientPressure:
		if r.Value >= d.lowest && r.Value <= d.highest { // another would hide a pressure from the interlock
			d.ambient, d.ambientKnown = r.Value, true
		}
	case in.Signal.Absolute && !d.ambientKnown:
		r.Value, r.Status = 0, spn.NotAvailable
	case in.Signal.Absolute:
		r.Value -= d.ambient
	}
	return r
}

// FromNode says whether a frame was sent by the bench node: that it is alive.
func (d *Decoder) FromNode(f can.Frame) bool {
	return speaksJ1939(f) && id.ID(f.ID).Source() == d.node
}

// IsCommand says whether a frame heard on the bus is one of our command messages, whatever
// address it came from. A port does not hand back what we sent ourselves, so such a frame
// means that somebody else commands this bench.
func (d *Decoder) IsCommand(f can.Frame) bool {
	return speaksJ1939(f) && d.commands[id.ID(f.ID).PGN()]
}

func speaksJ1939(f can.Frame) bool {
	return f.IsExtended && f.Length <= 8 && !f.IsRemote && !f.Error && !id.ID(f.ID).Foreign()
}
