package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"time"

	"github.com/spf13/cobra"

	"holdfast/bench/interlock"
	"holdfast/cmd/holdfast/simbench"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/clock"
)

type playOptions struct {
	file, bus string
	channel   int
}

func newPlayCommand() *cobra.Command {
	var o playOptions
	cmd := &cobra.Command{
		Use:   "play FILE --bus INTERFACE",
		Short: "Send a recording on a CAN interface with its own timing",
		Long: `Sends the data frames of a recording (candump text, pcap, pcapng) on an interface, each as long after the
first as it was recorded; error frames are left out. The last line says how late frames went out.

For a bench or a table, never for a vehicle: it first listens for a second and refuses a bus on which an
engine turns or wheels turn, and stops when one begins to while it plays (status 5). A recording of a running
engine looks like one to everybody on that bus: this program's other commands will refuse it meanwhile.` + exitHelp,
		Example: `  holdfast play key-on.log --bus vcan0
  holdfast play two-buses.pcapng --bus can1 --channel 1`,
		Args: wants("FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runPlay(cmd.Context(), o, cmd.ErrOrStderr())
		},
	}
	cmd.Flags().StringVar(&o.bus, "bus", "", "CAN interface to send on, or unix:PATH")
	cmd.Flags().IntVar(&o.channel, "channel", -1, "send only interface `NUMBER` of a recording of several, from 0")
	cmd.Flags().Lookup("channel").DefValue = "all"
	return cmd
}

func (o *playOptions) check() error {
	switch {
	case o.bus == "":
		return withStatus(exitUsage, errors.New("--bus is missing: it names the interface to send on, "+
			"for instance --bus vcan0"))
	case o.bus == simbench.Bus:
		return errOnlyInside("play")
	case o.channel < -1 || o.channel > 255:
		return withStatus(exitUsage, fmt.Errorf("--channel %d: write 0 to 255, or leave it out for all interfaces", o.channel))
	}
	return nil
}

func runPlay(ctx context.Context, o playOptions, errOut io.Writer) error {
	if err := o.check(); err != nil {
		return err
	}
	reader, err := capture.Open(o.file)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	defer reader.Close()
	port, err := attachPort(o.bus)
	if err != nil {
		return err
	}
	defer port.Close()
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt)
	defer stop()
	p := newPlayer(port, o.channel)
	if err := p.listen(ctx, port.Now().Add(interlock.VehicleListen)); err != nil {
		return err
	}
	err = p.play(ctx, reader)
	fmt.Fprintln(errOut, p.summary())
	if err == nil && ctx.Err() == nil && p.sent == 0 {
		err = withStatus(exitUsage, fmt.Errorf("%s contains no data frames to send%s", o.file, o.chosen()))
	}
	if err == nil && ctx.Err() != nil {
		err = withStatus(exitStopped, context.Cause(ctx))
	}
	return err
}

func (o *playOptions) chosen() string {
	if o.channel < 0 {
		return ""
	}
	return fmt.Sprintf(" of interface %d, counted from 0", o.channel)
}

// player sends a recording with its own timing and listens for a vehicle meanwhile.
type player struct {
	port    can.Port
	guard   *interlock.VehicleGuard
	channel int
	in      []can.Frame

	begun         bool
	shift         time.Duration // from recorded time to the bus's
	sent, skipped int
	late          time.Duration // the most
	again         int           // frames that found the transmit queue full
}

func newPlayer(port can.Port, channel int) *player {
	return &player{port: port, guard: interlock.NewVehicleGuard(nil), channel: channel, in: make([]can.Frame,
		256)}
}

// listen hears until then, and refuses when a vehicle shows itself.
func (p *player) listen(ctx context.Context, until clock.Instant) error {
	for ctx.Err() == nil {
		n, err := p.port.Receive(p.in, min(until, p.port.Now().Add(100*time.Millisecond)))
		if err != nil {
			return withStatus(exitBus, err)
		}
		for i := range p.in[:n] {
			p.guard.Hear(p.in[i])
		}
		if why, alive := p.guard.Alive(); alive {
			return withStatus(exitTrip, fmt.Errorf("a vehicle is alive on this bus: %s; nothing more is sent", why))
		}
		if p.port.Now() >= until {
			return nil
		}
	}
	return nil
}

// play sends what source has until its end, ctx's end, or a failure.
func (p *player) play(ctx context.Context, source can.Source) error {
	frames := make([]can.Frame, 256)
	for {
		n, err := source.Receive(frames, source.Now())
		for i := range frames[:n] {
			if failed := p.one(ctx, &frames[i]); failed != nil || ctx.Err() != nil {
				return failed
			}
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return withStatus(exitUsage, err)
		}
	}
}

// one sends one frame when its time has come. A recorded time that goes back is due at once.
func (p *player) one(ctx context.Context, f *can.Frame) error {
	if f.Error || p.channel >= 0 && int(f.Channel) != p.channel {
		p.skipped++
		return nil
	}
	if !p.begun {
		p.begun, p.shift = true, p.port.Now().Sub(f.Time)
	}
	due := f.Time.Add(p.shift)
	if err := p.listen(ctx, due); err != nil || ctx.Err() != nil {
		return err
	}
	for {
		err := p.port.Send(f.Frame)
		if err == nil {
			break
		}
		if !errors.Is(err, can.ErrBusy) {
			return withStatus(exitBus, err)
		}
		p.again++
		if err := p.listen(ctx, p.port.Now().Add(time.Millisecond)); err != nil || ctx.Err() != nil {
			return err
		}
	}
	p.sent++
	p.late = max(p.late, p.port.Now().Sub(due))
	return nil
}

func (p *player) summary() string {
	return fmt.Sprintf("%s sent, %d left out, the latest %.1f ms after its time, %s with a full transmit queue",
		counted(p.sent, "frame"), p.skipped, float64(p.late)/1e6, counted(p.again, "further attempt"))
}
