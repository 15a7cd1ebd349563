package interlock

import (
	"fmt"

	"holdfast/bench/rig"
	"holdfast/j1939/can"
	"holdfast/j1939/id"
	"holdfast/j1939/spn"
)

// What a vehicle that is alive shows on its bus (SAE J1939-71).
const (
	engineSpeed = 190 // r/min, in EEC1
	wheelSpeed  = 84  // km/h, in CCVS1
)

// VehicleGuard listens for signs that a bus belongs to a vehicle and not to a bench: a running
// engine, turning wheels, or controllers that the bench does not have. A node that the rig declares may
// send anything except a running engine or turning wheels, which count whoever sends them. A sign once
// found stays found. The guard sends nothing; nothing may be sent before it has listened for VehicleListen.
//
// It reads SPN 190 and SPN 84 only. A vehicle with its key off sends neither, so finding nothing does not
// prove that the bus is a bench. Not for use by two goroutines.
type VehicleGuard struct {
	signs  map[uint32]*spn.Parameter // by PGN
	known  [256]bool
	counts bool // the addresses are known: a stranger is a sign
	spare  int  // how many more controllers are to be expected
	why    string
}

// NewVehicleGuard returns a guard for the bus of a rig. Without a rig (nil) unknown controllers are
// not taken as a sign.
func NewVehicleGuard(r *rig.Rig) *VehicleGuard {
	g := &VehicleGuard{signs: map[uint32]*spn.Parameter{}}
	for _, number := range []uint32{engineSpeed, wheelSpeed} {
		for _, p := range spn.Find(number) {
			g.signs[p.PGN] = p
		}
	}
	if r == nil {
		return g
	}
	addresses, open := r.Senders()
	for _, a := range addresses {
		g.known[a] = true
	}
	g.counts = true
	if open {
		g.spare = 1
	}
	return g
}

// Hear takes one frame. It allocates nothing unless it finds a sign.
func (g *VehicleGuard) Hear(f can.Frame) {
	if g.why != "" || f.Error || f.IsRemote || !f.IsExtended || f.Length > 8 {
		return
	}
	i := id.ID(f.ID)
	if p := g.signs[i.PGN()]; p != nil {
		if _, v, status := p.Decode(f.Data[:f.Length]); status == spn.Valid && v > 0 {
			g.why = fmt.Sprintf("%s (SPN %d) is %.4g %s, sent by address 0x%02X",
				p.Name, p.SPN, v, p.Unit, i.Source())
			return
		}
	}
	g.count(i.Source())
}

// count finds a controller that the bench does not have. The null address is nobody's.
func (g *VehicleGuard) count(source uint8) {
	switch {
	case !g.counts || g.known[source] || source == id.Null:
	case g.spare > 0:
		g.spare--
		g.known[source] = true
	default:
		g.why = fmt.Sprintf("address 0x%02X sends, which the rig file does not declare (other_senders "+
			"names what belongs to the bench)", source)
	}
}

// Alive says whether a sign of a vehicle has been heard, and which.
func (g *VehicleGuard) Alive() (why string, yes bool) { return g.why, g.why != "" }
