package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"

	"holdfast/bench/golden"
	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/bench/shop"
	"holdfast/cmd/holdfast/console"
)

type verifyBenchOptions struct {
	run                          runOptions
	reference, store, fitted, by string
	scenario                     string
	json                         bool
}

func newVerifyBenchCommand() *cobra.Command {
	var o verifyBenchOptions
	cmd := &cobra.Command{
		Use:   "verify-bench --rig RIG --bus BUS",
		Short: "Check the bench with a golden unit at the start of a shift",
		Long: `Runs a unit whose values are known (a golden unit, or one with a known orifice fitted as a leak) and
compares what the bench measures with its reference values by E_n numbers: the difference over the
root of both expanded uncertainties, squared and added; at most 1 agrees (ISO/IEC 17043, from
memory). The result is kept in the book with its time.

A bench that is out at its last check gives no pass until a later check with the same reference is
good; nor does one whose rig file states verify_every: 12 h and that was not checked within that
time. Such a run ends undecided and says so.

The reference is a small YAML file or a run; without --reference it is the file that
--store-reference wrote into the records for this rig. Change its values and uncertainties as your
own calibration of the golden unit says: a reference that the bench
measured itself cannot reveal an error it had at that time.

Status 0: the bench agrees; 1: it does not.` + exitHelp,
		Example: `  holdfast verify-bench --rig bench-node --bus can0 --serial GOLDEN-1 --store-reference
  holdfast verify-bench --rig bench-node --bus can0
  holdfast verify-bench --rig bench-node --bus can0 --reference orifice.yaml`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runVerifyBench(cmd.Context(), o, cmd.InOrStdin(), cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	o.addFlags(cmd)
	return cmd
}

// inRecords stands for the reference that is kept with the records of a rig.
const inRecords = "in the records"

func (o *verifyBenchOptions) addFlags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.run.rig, "rig", "", "rig file, or the name of a shipped one")
	f.StringVar(&o.run.bus, "bus", "", "CAN interface, or sim")
	f.StringVar(&o.run.serial, "serial", "", "serial number of the golden unit (default: the reference's)")
	f.StringVar(&o.scenario, "scenario", "", "scenario to run (default: the reference's; else the release test)")
	f.StringVar(&o.reference, "reference", "", "file of reference values, or a run of the golden unit")
	f.StringVar(&o.store, "store-reference", "", "make a reference from this run: a file, or in the records")
	f.Lookup("store-reference").NoOptDefVal = inRecords
	f.StringVar(&o.fitted, "fitted", "", "with --store-reference: what is fitted to the unit, as a known orifice")
	f.Var(&o.run.faults, "fault", "with --bus sim: NAME=SEVERITY (0..1), repeatable")
	f.Uint64Var(&o.run.seed, "seed", 1, "with --bus sim: seed of the simulated unit and instruments")
	f.BoolVar(&o.run.realTime, "real-time", false, "with --bus sim: run as slowly as a real bench")
	f.BoolVar(&o.run.yes, "yes", false, "do not ask before anything moves")
	f.BoolVar(&o.json, "json", false, "print the comparison as JSON")
	addLogFlag(cmd, &o.run.level, zerolog.Disabled)
	addByFlag(cmd, &o.by)
	addOutFlag(cmd, &o.run.out)
	for _, name := range []string{"rig", "bus"} {
		_ = cmd.MarkFlagRequired(name) // fails only for a flag that does not exist
	}
}

func runVerifyBench(ctx context.Context, o verifyBenchOptions, in io.Reader, out, errOut io.Writer) error {
	plan, r, ref, err := o.load()
	if err != nil {
		return withStatus(exitUsage, err)
	}
	if err := o.run.check(); err != nil {
		return withStatus(exitUsage, err)
	}
	if !o.run.yes {
		if ref != nil && ref.Fitted != "" {
			fmt.Fprintf(errOut, "Fitted to the golden unit: %s.\n", ref.Fitted)
		}
		if !confirm(in, errOut, plan, r, o.run.bus) {
			return withStatus(exitUsage, errors.New("nothing was moved: not confirmed (--yes confirms beforehand)"))
		}
	}
	screen := console.NewScreen(errOut)
	run, err := openRun(ctx, o.run, plan, r, screen, errOut)
	if err != nil {
		return err
	}
	defer run.Close()
	result, status := perform(ctx, run, plan, nil, screen, errOut)
	if result == nil {
		return withStatus(status, nil)
	}
	if o.store != "" {
		return o.keepReference(result, errOut)
	}
	return o.compare(ctx, result, ref, out, errOut)
}

// load reads rig, reference and scenario, and settles what was left to defaults.
func (o *verifyBenchOptions) load() (*scenario.Plan, *rig.Rig, *golden.Reference, error) {
	r, err := loadRig(o.run.rig)
	if err != nil {
		return nil, nil, nil, err
	}
	if o.run.out, err = outFolder(o.run.out); err != nil {
		return nil, nil, nil, err
	}
	var ref *golden.Reference
	if o.store == "" {
		if ref, err = o.readReference(r); err != nil {
			return nil, nil, nil, err
		}
		if o.scenario == "" {
			o.scenario = ref.Scenario
		}
		if o.run.serial == "" {
			o.run.serial = ref.Serial
		}
	} else if o.reference != "" {
		return nil, nil, nil, errors.New("--reference and --store-reference: one at a time")
	}
	if o.scenario == "" {
		o.scenario = "release"
		if r.Kind == rig.Controller {
			o.scenario = "release-controller"
		}
	}
	plan, r, err := loadPlanAndRig(o.scenario, o.run.rig)
	return plan, r, ref, err
}

// readReference reads a file, or makes a reference of a run.
func (o *verifyBenchOptions) readReference(r *rig.Rig) (*golden.Reference, error) {
	path := o.reference
	switch {
	case path == "":
		path = shop.ReferencePath(o.run.out, r.Name)
	case !isPath(path):
		return shop.ReferenceFromRun(o.run.out, path)
	}
	text, err := readBounded(path)
	if err != nil && o.reference == "" {
		return nil, fmt.Errorf("no reference of rig %s yet; with a unit that you trust: holdfast verify-bench "+
			"--store-reference, or --reference FILE: %w", r.Name, err)
	}
	if err != nil {
		return nil, fmt.Errorf("read reference: %w", err)
	}
	return golden.Parse(path, text)
}

// keepReference makes a reference of the run.
func (o *verifyBenchOptions) keepReference(res *judge.Result, errOut io.Writer) error {
	name := "golden unit " + res.Serial
	if o.fitted != "" {
		name += " with " + o.fitted
	}
	ref, err := golden.FromResult(res, name, o.fitted)
	if err != nil {
		return withStatus(exitUndecided, err)
	}
	ref.Scenario = o.scenario
	path := o.store
	if path == inRecords {
		path = shop.ReferencePath(o.run.out, res.Bench.Name)
	}
	if err := shop.KeepReference(path, ref); err != nil {
		return withStatus(exitInternal, err)
	}
	fmt.Fprintf(errOut, "reference of %d values kept in %s\n", len(ref.Values), path)
	if res.Verdict == judge.Fail {
		fmt.Fprintln(errOut, "warning: this unit breaks limits of the scenario: is it one to trust?")
	}
	return nil
}

// compare holds the run against the reference and enters the result into the book.
func (o *verifyBenchOptions) compare(ctx context.Context, res *judge.Result, ref *golden.Reference, out,
	errOut io.Writer) error {
	var c golden.Compared
	err := withRecords(ctx, o.run.out, errOut, func(s *record.Store, _ string) (err error) {
		c, err = shop.CheckBench(ctx, s, res, ref, person(o.by), now())
		return err
	})
	if err != nil {
		return err
	}
	if err := showCompared(out, res, ref, c, o.json); err != nil {
		return withStatus(exitInternal, err)
	}
	if !c.Good {
		return withStatus(exitFail, nil)
	}
	return nil
}
