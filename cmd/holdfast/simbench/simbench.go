package simbench

import (
	"time"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
	"holdfast/sim"
)

// Bus is the name of the simulated bench where a bus is named.
const Bus = "sim"

// Bitrate of the simulated bus, bit/s (SAE J1939-11, J1939-15).
const Bitrate = 250_000

// Epoch is when simulated time begins: fixed, so that the same seed gives the same bytes.
var Epoch = clock.At(time.Date(2026, 11, 24, 8, 0, 0, 0, time.UTC))

// New returns a bench that begins at Epoch with a unit of the kind that a rig is for. The other options stay as they
// are given.
func New(r *rig.Rig, o sim.Options) (*sim.Bench, error) {
	o.Start, o.Controller = Epoch, r.Kind == rig.Controller
	return sim.New(o)
}

// NewBus returns a bus that begins at Epoch, with nobody on it yet.
func NewBus() *virtual.Bus { return virtual.New(Epoch, Bitrate) }

// Identity is the identity of a run on the simulated bench that nobody keeps a record of.
func Identity(run, serial string, p *scenario.Plan, r *rig.Rig, seed uint64, faults map[string]float64) samples.Identity {
	return samples.Identity{Run: run, Serial: serial, Started: Epoch.Time(), Scenario: p.Name, Rig: r.Name, Bus: Bus,
		Simulated: true, Seed: seed, Faults: faults}
}
