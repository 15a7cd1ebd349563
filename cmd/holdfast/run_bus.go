package main

import (
	"time"

	"holdfast/bench/rig"
	"holdfast/j1939/can"
	"holdfast/j1939/can/lockstep"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
	"holdfast/sim"
)

const (
	simBus     = "sim"
	busBitrate = 250_000 // bit/s: J1939-11 and J1939-15
)

// simEpoch is when simulated time begins: fixed, so that the same seed gives the same bytes.
var simEpoch = clock.At(time.Date(2026, 11, 24, 8, 0, 0, 0, time.UTC))

// openBus opens a bus that is there, a simulation in lock-step, or a virtual bus with the simulated bench on it
// and a unit of a kind.
func openBus(o runOptions, kind rig.Kind) (can.Port, error) {
	if path, granted := lockstepPath(o.bus); granted {
		port, err := lockstep.Dial(path, simEpoch, o.asked(kind))
		return opened(port, hinted(err, o.bus))
	}
	if o.bus != simBus {
		return openPort(o.bus)
	}
	bench, err := sim.New(sim.Options{Seed: o.seed, Faults: o.faults.Map(), Start: simEpoch,
		Controller: kind == rig.Controller})
	if err != nil {
		return nil, withStatus(exitUsage, err)
	}
	bus := virtual.New(simEpoch, busBitrate)
	bus.Attach(bench)
	port := bus.Open("harness")
	if o.realTime {
		return newPaced(bus, port), nil
	}
	return port, nil
}

// asked is what a simulation in lock-step is asked for. It draws its own seed when none was given.
func (o *runOptions) asked(kind rig.Kind) *lockstep.Setup {
	s := &lockstep.Setup{Faults: o.faults.Map(), Unit: unitBare}
	if kind == rig.Controller {
		s.Unit = unitController
	}
	if o.seeded {
		s.Seed = &o.seed
	}
	return s
}

// simulated is the seed and the faults of the simulation on a port, as far as they are known.
func (o *runOptions) simulated(port can.Port) (seed uint64, faults map[string]float64) {
	if p, ok := port.(*lockstep.Port); ok {
		peer := p.Peer()
		if peer.Seed != nil {
			seed = *peer.Seed
		}
		return seed, peer.Faults
	}
	if o.bus != simBus {
		return 0, nil
	}
	return o.seed, o.faults.Map()
}
