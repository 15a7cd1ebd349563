package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os/signal"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"

	"holdfast/cmd/holdfast/oplog"
	"holdfast/cmd/holdfast/simbench"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/clock"
	"holdfast/sim/vehicle"
)

type simVehicleOptions struct {
	bus, write string
	faults     []string
	seed       uint64
	load       float64
	bitRate    int
	legs       string
	alone      bool
	level      oplog.Level
}

func newSimVehicleCommand() *cobra.Command {
	var o simVehicleOptions
	cmd := &cobra.Command{
		Use:   "vehicle --write FILE | --bus INTERFACE",
		Short: "Simulate a truck with a DEF supply unit: as a recording, or live on an interface",
		Long: `Writes a day of a simulated truck to a pcapng file, or sends it on a CAN interface in real time
until the day is over or Ctrl-C, so that holdfast watch can be tried and tested without one.
The day has six key cycles in ten hours. Never put it on a vehicle's bus: it sends.

Faults, as NAME=NUMBER; several combine:
` + describeVehicleFaults() + exitHelp,
		Example: `  holdfast sim vehicle --write day.pcapng
  holdfast sim vehicle --write bad.pcapng --fault slow-leak=30 --fault purge-cut=2
  holdfast sim vehicle --bus can1 --legs 5m+3m`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runSimVehicle(cmd.Context(), o, cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.write, "write", "", "pcapng file to write; it must not exist")
	f.StringVar(&o.bus, "bus", "", "CAN interface to send on, or unix:PATH")
	f.StringArrayVar(&o.faults, "fault", nil, "`NAME=NUMBER`, repeatable")
	f.Uint64Var(&o.seed, "seed", 1, "seed of everything random")
	f.Float64Var(&o.load, "load", 0, "bus load to fill up to, 0 to 0.95; 0: the controllers that a truck has")
	f.IntVar(&o.bitRate, "bitrate", 250_000, "bit rate that --load is a share of")
	f.BoolVar(&o.alone, "alone", false, "only the messages of the aftertreatment and what goes with them")
	f.StringVar(&o.legs, "legs", "", "key cycles as key-on+key-off times: 30m+5m,20m+5m; none: a ten-hour day")
	addLogFlag(cmd, &o.level, zerolog.InfoLevel)
	return cmd
}

func describeVehicleFaults() string {
	var b strings.Builder
	for _, name := range vehicle.FaultNames() {
		fmt.Fprintf(&b, "  %-15s %s\n", name, vehicle.DescribeFault(name))
	}
	return b.String()
}

func (o *simVehicleOptions) options(start clock.Instant) (vehicle.Options, error) {
	out := vehicle.Options{Seed: o.seed, Start: start, Load: o.load, BitRate: o.bitRate, Alone: o.alone,
		Faults: map[string]float64{}}
	for _, text := range o.faults {
		name, number, _ := strings.Cut(text, "=")
		v, err := strconv.ParseFloat(number, 64)
		if err != nil {
			return out, fmt.Errorf("--fault %s: write NAME=NUMBER, for example purge-cut=2", text)
		}
		out.Faults[name] = v
	}
	for leg := range strings.SplitSeq(o.legs, ",") {
		if o.legs == "" {
			break
		}
		on, off, _ := strings.Cut(leg, "+")
		key, err1 := time.ParseDuration(on)
		rest, err2 := time.ParseDuration(off)
		if err1 != nil || err2 != nil {
			return out, fmt.Errorf("--legs %s: write key-on+key-off, for example 30m+5m", leg)
		}
		out.Day = append(out.Day, vehicle.Leg{Key: key, Off: rest})
	}
	if o.bitRate < 10_000 || o.bitRate > 1_000_000 {
		return out, fmt.Errorf("--bitrate %d: 10000 to 1000000 bit/s", o.bitRate)
	}
	return out, nil
}

func runSimVehicle(ctx context.Context, o simVehicleOptions, errOut io.Writer) error {
	if (o.bus == "") == (o.write == "") {
		return withStatus(exitUsage, errors.New("write either --write FILE or --bus INTERFACE"))
	}
	start := simbench.Epoch
	if o.bus != "" {
		start = clock.Real()
	}
	options, err := o.options(start)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	v, err := vehicle.New(options)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	ctx, stop := signal.NotifyContext(ctx, syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	if o.write != "" {
		return writeVehicle(ctx, o.write, v, errOut)
	}
	port, err := attachPort(o.bus)
	if err != nil {
		return err
	}
	defer port.Close()
	log := newLog(errOut, o.level).With().Str("bus", o.bus).Uint64("seed", o.seed).Interface("faults", options.Faults).Logger()
	log.Info().Msg("simulated truck is on the bus; Ctrl-C ends it")
	if err := can.Serve(ctx, port, v); err != nil {
		return logged(&log, errOut, withStatus(exitBus, err))
	}
	log.Info().Uint64("sent", port.Stats().Sent).Msg("simulated truck ends")
	return nil
}

func writeVehicle(ctx context.Context, path string, v *vehicle.Vehicle, errOut io.Writer) error {
	w, err := capture.Create(path, "can0")
	if err != nil {
		return withStatus(exitUsage, err)
	}
	frames := make([]can.Frame, 1024)
	for ctx.Err() == nil {
		n, err := v.Receive(frames, clock.Never)
		if err != nil {
			break // the end of the day
		}
		for i := range frames[:n] {
			if err := w.Write(frames[i], capture.Unknown); err != nil {
				return withStatus(exitInternal, errors.Join(err, w.Close()))
			}
		}
	}
	if err := w.Close(); err != nil {
		return withStatus(exitInternal, err)
	}
	t := v.Truth()
	fmt.Fprintf(errOut, "%s: %d frames, %d trips, purges: %d completed, %d cut short, %d losses of the "+
		"sensor's supply, leak %.1f mL/min at the end\n",
		path, v.Stats().Received, t.Trips, len(t.Completed), len(t.Cut), len(t.Dropouts), t.Leak)
	return nil
}
