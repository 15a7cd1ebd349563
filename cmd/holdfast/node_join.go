package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	einride "go.einride.tech/can"

	"holdfast/bench/interlock"
	"holdfast/bench/rig"
	"holdfast/cmd/holdfast/simbench"
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/survey"
	"holdfast/j1939/transport"
	"holdfast/sim"
)

// openNodeBus opens an interface, or a virtual bus with the simulated bench and a unit with its own
// controller, switched on.
func openNodeBus(bus string) (can.Port, error) {
	if bus != simbench.Bus {
		return openPort(bus)
	}
	r, err := loadRig("unit-controller")
	if err != nil {
		return nil, err
	}
	bench, err := simbench.New(r, sim.Options{Seed: 1})
	if err != nil {
		return nil, withStatus(exitUsage, err)
	}
	v := simbench.NewBus()
	v.Attach(bench)
	v.Attach(&powered{encoder: rig.NewEncoder(r), outputs: r.Safe, cycle: r.Cycle, next: simbench.Epoch})
	return v.Open("tool"), nil
}

// openSurveyBus is openNodeBus where a recording is accepted as well.
func openSurveyBus(from string) (can.Port, error) {
	if info, err := os.Stat(from); err == nil && info.IsDir() {
		return nil, withStatus(exitUsage, fmt.Errorf("%s is a folder: name a recording in it, or a bus", from))
	}
	if err := missingFile(from); err != nil {
		return nil, err
	}
	port, err := openNodeBus(from)
	if errors.Is(err, can.ErrMissing) {
		return nil, withStatus(statusOf(err), neitherFileNor(from, err))
	}
	return port, err
}

// powered is a harness that does nothing but switch the simulated unit on: one without power is not on the
// bus.
type powered struct {
	encoder *rig.Encoder
	outputs rig.Outputs
	cycle   time.Duration
	next    clock.Instant
}

func (p *powered) Next() clock.Instant { return p.next }

func (p *powered) Step(now clock.Instant, _ []can.Frame, out []einride.Frame) []einride.Frame {
	if now < p.next {
		return out
	}
	p.next = now.Add(p.cycle)
	p.outputs[rig.SetUnitPower] = 1
	return p.encoder.Encode(p.outputs, out)
}

// join takes part in a bus: see survey.Join. It says under which address.
func join(ctx context.Context, port can.Port, hear func(*transport.Message), out io.Writer) (*survey.Participant, error) {
	p, err := survey.Join(ctx, port, survey.Options{Guard: interlock.NewVehicleGuard(nil), Listen: interlock.VehicleListen,
		Identity: uint32(clock.Real() >> 10), Hear: hear})
	if err != nil {
		return nil, surveyStatus(err)
	}
	fmt.Fprintf(out, "on the bus as address %d, off-board diagnostic service tool\n", p.Node().Address())
	return p, nil
}

// surveyStatus gives an error of a survey its exit status.
func surveyStatus(err error) error {
	switch {
	case errors.Is(err, survey.ErrVehicle):
		return withStatus(exitTrip, err)
	case errors.Is(err, survey.ErrBus):
		return withStatus(exitBus, err)
	case errors.Is(err, context.Canceled):
		return withStatus(exitStopped, err)
	}
	return err
}

// counted is a number of things in words: 1 time, 3 times.
func counted(n int, thing string) string {
	if n != 1 {
		thing += "s"
	}
	return fmt.Sprintf("%d %s", n, thing)
}
