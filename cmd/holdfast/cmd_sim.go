package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"

	"holdfast/cmd/holdfast/lies"
	"holdfast/cmd/holdfast/oplog"
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/sim"
	"holdfast/sim/lie"
)

// Kinds of simulated units.
const (
	unitBare       = "bare"
	unitController = "controller"
)

type simOptions struct {
	bus    string
	log    string // file for what the outputs do
	unit   string // bare or controller
	faults faultsFlag
	seed   uint64
	lies   []string // what its instruments do
	level  oplog.Level
}

func newSimCommand() *cobra.Command {
	var o simOptions
	cmd := &cobra.Command{
		Use:   "sim --bus BUS",
		Short: "Simulate a bench on a CAN interface: unit, instruments and I/O node",
		Long: `Runs the simulated bench on a CAN interface in real time until Ctrl-C: a second computer,
or a second adapter of the same one, can then run every test without a unit. With --bus unix:PATH it makes a
bus between processes of this computer instead, which run and the other commands join by the same name; it
needs no CAN interface, and ends with the bench. With --bus lockstep:PATH it waits for holdfast run on the same
name, which grants its time, so that a run takes less than a second; each run is a new bench. It answers to
the messages of bench-node.dbc and to nothing else; with --unit controller the unit has a
J1939 controller of its own, which is asked by PGN 61476 (rig unit-controller). Never put it
on a vehicle's bus: it sends.

Faults, each with a severity of 0 to 1; several combine:
` + describeFaults() + "\n" + lies.Help() + exitHelp,
		Example: `  holdfast sim --bus can1
  holdfast sim --bus unix:/tmp/bench --log-outputs outputs.jsonl
  holdfast sim --bus lockstep:/tmp/bench
  holdfast sim --bus can1 --fault membrane-split=0.6 --fault sensor-offset=0.3 --seed 7
  holdfast sim --bus can1 --unit controller`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runSim(cmd.Context(), o, cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.bus, "bus", "", "CAN interface; unix:PATH or lockstep:PATH between processes of this computer")
	f.StringVar(&o.log, "log-outputs", "", "write changes of the outputs, and the pressure, to this new file")
	f.StringVar(&o.unit, "unit", unitBare, "bare, or controller: with a J1939 controller of its own")
	f.Var(&o.faults, "fault", "NAME=SEVERITY (0..1), repeatable")
	f.StringArrayVar(&o.lies, "lie", nil, "make an instrument lie, as line_pressure=stuck@120s..130s; repeatable")
	f.Uint64Var(&o.seed, "seed", 1, "seed of the simulated unit, instruments and noise")
	addLogFlag(cmd, &o.level, zerolog.InfoLevel)
	_ = cmd.MarkFlagRequired("bus") // fails only for a flag that does not exist
	cmd.AddCommand(newSimVehicleCommand())
	return cmd
}

func describeFaults() string {
	var b strings.Builder
	for _, name := range sim.FaultNames() {
		fmt.Fprintf(&b, "  %-20s %s\n", name, sim.DescribeFault(name))
	}
	return b.String()
}

func runSim(ctx context.Context, o simOptions, errOut io.Writer) error {
	if o.bus == "sim" {
		return withStatus(exitUsage, errors.New("--bus sim is the bench inside `holdfast run`; "+
			"name a CAN interface (can1), unix:PATH or lockstep:PATH here"))
	}
	if o.unit != unitBare && o.unit != unitController {
		return withStatus(exitUsage, fmt.Errorf("--unit %q: write bare or controller", o.unit))
	}
	ctx, stop := signal.NotifyContext(ctx, syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	log := o.newLog(errOut)
	if path, granted := lockstepPath(o.bus); granted {
		return logged(&log, errOut, serveLockstep(ctx, o, path, &log))
	}
	port, err := attachPort(o.bus)
	if err != nil {
		return err
	}
	defer port.Close()
	bench, outputs, err := o.bench(port.Now())
	if err != nil {
		return withStatus(exitUsage, err)
	}
	defer outputs.file.Close()
	process, err := o.lying(bench, port.Now(), o.seed, o.unit)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	log.Info().Msg(benchIsThere)
	if err := can.Serve(ctx, port, process); err != nil {
		return logged(&log, errOut, withStatus(exitBus, err))
	}
	log.Info().Uint64("sent", port.Stats().Sent).Uint64("heard", port.Stats().Received).Msg("simulated bench ends")
	if outputs.failed != nil {
		return logged(&log, errOut, withStatus(exitInternal, outputs.failed))
	}
	return nil
}

const benchIsThere = "simulated bench is on the bus; Ctrl-C ends it"

// newLog is the log of a simulated bench: which bus, which unit.
func (o *simOptions) newLog(errOut io.Writer) zerolog.Logger {
	with := newLog(errOut, o.level).With().Str("bus", o.bus).Uint64("seed", o.seed).Str("unit", o.unit)
	if faults := o.faults.Map(); len(faults) > 0 {
		with = with.Interface("faults", faults)
	}
	if len(o.lies) > 0 {
		with = with.Strs("lies", o.lies)
	}
	return with.Logger()
}

// bench returns the bench that was asked for, and its log, which writes nothing where none was asked for.
func (o *simOptions) bench(start clock.Instant) (*sim.Bench, *outputLog, error) {
	options := sim.Options{Seed: o.seed, Faults: o.faults.Map(), Start: start,
		Controller: o.unit == unitController}
	log := &outputLog{}
	if o.log != "" {
		file, err := os.OpenFile(o.log, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if err != nil {
			return nil, nil, fmt.Errorf("--log-outputs: %w", err)
		}
		log.file = file
		log.observe(&options)
	}
	bench, err := sim.New(options)
	return bench, log, err
}

// lying is the bench with instruments that lie, by the channels of the shipped rig for its kind of unit.
func (o *simOptions) lying(bench can.Process, start clock.Instant, seed uint64, kind string) (can.Process, error) {
	if len(o.lies) == 0 {
		return bench, nil
	}
	rigName := "bench-node"
	if kind == unitController {
		rigName = "unit-controller"
	}
	r, err := loadRig(rigName)
	if err != nil {
		return nil, err
	}
	told, err := lies.ParseAll(lies.Table(r), o.lies)
	if err != nil {
		return nil, fmt.Errorf("--lie: %w", err)
	}
	return lie.Process(bench, lie.New(told, start, seed)), nil
}
