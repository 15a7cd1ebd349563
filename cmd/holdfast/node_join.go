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
	"holdfast/j1939/claim"
	"holdfast/j1939/clock"
	"holdfast/j1939/name"
	"holdfast/j1939/node"
	"holdfast/j1939/transport"
	"holdfast/sim"
)

const (
	toolAddress  = 249 // off-board diagnostic service tool 1
	toolFunction = 129 // the same as a function of a NAME
	claimWait    = 3 * time.Second
)

// participant is this tool as a node of a bus.
type participant struct {
	*node.Link
	port  can.Port
	guard *interlock.VehicleGuard
}

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

// openSurveyBus is openNodeBus where a recording would do as well.
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

// join listens first, refuses a bus on which a vehicle is alive, and then claims an address. hear is told
// every message from then on.
func join(ctx context.Context, port can.Port, hear func(*transport.Message)) (*participant, error) {
	own, err := name.New(name.Fields{Function: toolFunction, Arbitrary: true,
		Identity: uint32(clock.Real()>>10) & 0x1FFFFF}) // two of these tools on one bus must differ
	if err != nil {
		return nil, withStatus(exitInternal, err)
	}
	n := node.New(node.Options{NAME: own, Address: toolAddress, Seed: uint32(own), Hear: hear})
	p := &participant{Link: node.NewLink(port, n), port: port, guard: interlock.NewVehicleGuard(nil)}
	p.Watch = func(f *can.Frame) { p.guard.Hear(*f) }
	if err := p.Listen(ctx, p.Now().Add(interlock.VehicleListen)); err != nil {
		return nil, withStatus(exitBus, err)
	}
	if err := p.refuseVehicle(); err != nil {
		return nil, err
	}
	if address, ok := freeAddress(n.Table()); ok {
		n.Prefer(address)
	}
	err = p.Run(ctx, p.Now().Add(claimWait), func() bool {
		return n.State() == claim.Claimed ||
			n.State() == claim.Lost
	})
	if err != nil {
		return nil, withStatus(exitBus, err)
	}
	if n.State() != claim.Claimed && ctx.Err() == nil {
		return nil, withStatus(exitBus, fmt.Errorf("no address on this bus: %s", n.Why()))
	}
	return p, nil
}

// freeAddress is 249 or 250, the addresses of service tools, or one of the dynamic range: nodes that never
// claim, such as a bench's, do not object to a claim, so that what was heard decides.
func freeAddress(t *claim.Table) (uint8, bool) {
	for _, a := range []uint8{toolAddress, toolAddress + 1} {
		if _, taken := t.At(a); !taken {
			return a, true
		}
	}
	for a := claim.LastArbitrary; a >= claim.FirstArbitrary; a-- {
		if _, taken := t.At(uint8(a)); !taken {
			return uint8(a), true
		}
	}
	return 0, false
}

// refuseVehicle ends what would send on the bus of a vehicle that is alive.
func (p *participant) refuseVehicle() error {
	if why, alive := p.guard.Alive(); alive {
		return withStatus(exitTrip,
			fmt.Errorf("a vehicle is alive on this bus: %s. On a vehicle holdfast only listens; "+
				"scan --passive, faults without requests and decode do", why))
	}
	return nil
}

// ask puts a question to one node or to everybody and waits for its end. It stops when a vehicle comes alive.
func (p *participant) ask(ctx context.Context, pgn uint32, to uint8) (*node.Question, error) {
	q, err := p.Node().Ask(pgn, to)
	if err != nil {
		return nil, withStatus(exitBus, fmt.Errorf("%w: %s", err, p.Node().Why()))
	}
	err = p.Run(ctx, clock.Never, func() bool {
		_, alive := p.guard.Alive()
		return alive || q.End() != node.Asking
	})
	if err != nil {
		return nil, withStatus(exitBus, err)
	}
	if err := p.refuseVehicle(); err != nil {
		return nil, err
	}
	if ctx.Err() != nil {
		return nil, withStatus(exitStopped, context.Cause(ctx))
	}
	return q, nil
}

// sayAddress tells who we are on the bus.
func (p *participant) sayAddress(out io.Writer) {
	fmt.Fprintf(out, "on the bus as address %d, off-board diagnostic service tool\n", p.Node().Address())
}
