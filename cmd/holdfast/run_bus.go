package main

import (
	"strings"

	"holdfast/bench/rig"
	"holdfast/cmd/holdfast/simbench"
	"holdfast/j1939/can"
	"holdfast/j1939/can/lockstep"
	"holdfast/sim"
)

// openBus opens a bus that is there, a simulation in lock-step, or a virtual bus with the simulated bench on it
// and a unit of the rig's kind.
func openBus(o runOptions, r *rig.Rig) (can.Port, error) {
	if path, granted := lockstepPath(o.bus); granted {
		port, err := lockstep.Dial(path, simbench.Epoch, o.asked(r.Kind))
		return opened(port, hinted(err, o.bus))
	}
	if o.bus != simbench.Bus {
		return openPort(o.bus)
	}
	bench, err := simbench.New(r, sim.Options{Seed: o.seed, Faults: o.faults.Map()})
	if err != nil {
		return nil, withStatus(exitUsage, err)
	}
	bus := simbench.NewBus()
	bus.Attach(bench)
	port := bus.Open("harness")
	if o.realTime {
		return simbench.Paced(bus, port), nil
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
	if o.bus != simbench.Bus {
		return 0, nil
	}
	return o.seed, o.faults.Map()
}

// toldBy is what the simulation on a port says that its own instruments do.
func toldBy(port can.Port) []string {
	if p, ok := port.(*lockstep.Port); ok {
		if text := p.Peer().Set[lieSetting]; text != "" {
			return strings.Split(text, liesApart)
		}
	}
	return nil
}
