package main

import (
	"time"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/can/socketcan"
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

// openBus opens a real interface, or a virtual bus with the simulated bench on it.
func openBus(o runOptions) (can.Port, error) {
	if o.bus != simBus {
		port, err := socketcan.Open(o.bus, socketcan.Options{})
		if err != nil {
			return nil, withStatus(exitBus, err)
		}
		return port, nil
	}
	bench, err := sim.New(sim.Options{Seed: o.seed, Faults: o.faults.Map(), Start: simEpoch})
	if err != nil {
		return nil, withStatus(exitUsage, err)
	}
	bus := virtual.New(simEpoch, busBitrate)
	bus.Attach(bench)
	port := bus.Open("harness")
	if o.realTime {
		return &paced{Port: port, began: clock.Real(), epoch: port.Now()}, nil
	}
	return port, nil
}

// paced lets a virtual bus run no faster than the clock on the wall.
type paced struct {
	can.Port
	began, epoch clock.Instant
}

func (p *paced) Receive(dst []can.Frame, until clock.Instant) (int, error) {
	n, err := p.Port.Receive(dst, until)
	if ahead := p.Now().Sub(p.epoch) - clock.Real().Sub(p.began); ahead > 0 {
		time.Sleep(ahead)
	}
	return n, err
}

func (p *paced) Send(f einride.Frame) error { return p.Port.Send(f) }
