package main

import (
	"time"

	"holdfast/bench/rig"
	"holdfast/j1939/can"
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

// openBus opens a bus that is there, or a virtual bus with the simulated bench on it and a unit of a kind.
func openBus(o runOptions, kind rig.Kind) (can.Port, error) {
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
