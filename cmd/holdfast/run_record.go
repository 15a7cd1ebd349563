package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"

	"holdfast/bench/engine"
	"holdfast/bench/journal"
	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/clock"
)

// testRun is one run being made: an open bus and a record that grows.
type testRun struct {
	out     string
	plan    *scenario.Plan
	rig     *rig.Rig
	folder  record.Folder
	id      samples.Identity
	port    can.Port
	frames  *capture.Writer
	journal *journal.Writer
}

// openRun opens the bus first: a bus that is not there leaves no empty record behind.
func openRun(o runOptions, plan *scenario.Plan, r *rig.Rig) (run *testRun, err error) {
	port, err := openBus(o)
	if err != nil {
		return nil, err
	}
	run = &testRun{out: o.out, plan: plan, rig: r, port: port}
	defer func() {
		if err != nil {
			err = errors.Join(err, port.Close())
		}
	}()
	if err := run.openRecord(o); err != nil {
		return nil, withStatus(exitUsage, err)
	}
	return run, nil
}

func (run *testRun) openRecord(o runOptions) (err error) {
	if run.out == "" {
		if run.out, err = record.DefaultOut(); err != nil {
			return err
		}
	}
	now := clock.Real().Time()
	if run.folder, err = record.NewFolder(run.out, o.serial, now); err != nil {
		return err
	}
	run.id = samples.Identity{Run: run.folder.Run, Serial: o.serial, UnitHours: o.unitHours, Started: now,
		Scenario: run.plan.Name, Rig: run.rig.Name, Bus: o.bus, Version: version}
	if o.bus == simBus {
		run.id.Simulated, run.id.Seed, run.id.Faults = true, o.seed, o.faults.Map()
	}
	if run.frames, err = capture.Create(run.folder.Frames(), o.bus); err != nil {
		return err
	}
	run.port = capture.Tap(run.port, run.frames)
	create := journal.Create
	if o.bus == simBus && !o.realTime {
		create = journal.CreateDirect // virtual time outruns any disk, and waits for it
	}
	run.journal, err = create(run.folder.Journal(), journal.Header{Identity: run.id,
		ScenarioPath: run.plan.Path, ScenarioText: run.plan.Text,
		RigPath: run.rig.Path, RigText: run.rig.Text, DBC: run.rig.DBC})
	return err
}

// perform runs the plan, closes the record and judges it from what the journal says.
func (run *testRun) perform(ctx context.Context, p *progress) (*judge.Result, error) {
	orderly, atOnce, restore := signals(ctx)
	defer restore()
	outcome, failed := engine.Run(orderly, engine.Config{Plan: run.plan, Rig: run.rig, Port: run.port,
		Journal: run.journal, Progress: p.show, AtOnce: atOnce})
	p.end()
	if err := errors.Join(failed, run.closeRecord()); err != nil {
		fmt.Fprintf(p.out, "holdfast: %v\n", err)
	}
	p.lastWord(outcome)
	result, err := record.Rejudge(run.folder)
	if err != nil {
		return nil, withStatus(exitInternal, err)
	}
	return result, run.write(ctx, result)
}

// signals turns the first Ctrl-C, SIGTERM or SIGHUP into an orderly end, the second into an immediate one.
func signals(ctx context.Context) (orderly, atOnce context.Context, restore func()) {
	orderly, end := context.WithCancel(ctx)
	atOnce, endNow := context.WithCancel(ctx)
	heard := make(chan os.Signal, 2)
	signal.Notify(heard, os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	done := make(chan struct{})
	go func() {
		for _, cancel := range []func(){end, endNow} {
			select {
			case <-heard:
				cancel()
			case <-done:
				return
			}
		}
	}()
	return orderly, atOnce, func() { signal.Stop(heard); close(done); end(); endNow() }
}

// closeRecord makes the files whole before anything is judged from them.
func (run *testRun) closeRecord() error {
	return errors.Join(run.journal.Close(), run.frames.Close())
}

// write puts the judged run into its folder and into the index.
func (run *testRun) write(ctx context.Context, result *judge.Result) error {
	err := errors.Join(
		run.folder.Write(record.ResultFile, func(w io.Writer) error { return writeJSON(w, result) }),
		run.folder.Write(record.ReportFile, func(w io.Writer) error { return report.HTML(w, result) }),
		run.folder.Write(record.JUnitFile, func(w io.Writer) error { return report.JUnit(w, result) }),
		run.index(ctx, result))
	if err != nil {
		return withStatus(exitInternal, err)
	}
	return nil
}

func (run *testRun) index(ctx context.Context, result *judge.Result) error {
	store, err := record.OpenOut(run.out)
	if err != nil {
		return err
	}
	return errors.Join(store.Add(ctx, result, run.folder.Path), store.Close())
}

func (run *testRun) show(out io.Writer, result *judge.Result, asJSON bool) error {
	if asJSON {
		return writeJSON(out, result)
	}
	return report.Table(out, result, terminalWidth(out), isTerminal(out))
}

func (run *testRun) close() { _ = run.port.Close() } // read-only by now: nothing can be lost

func writeJSON(w io.Writer, result *judge.Result) error {
	text, err := json.MarshalIndent(result, "", "  ")
	if err != nil {
		return err
	}
	_, err = w.Write(append(text, '\n'))
	return err
}

// statusOfVerdict is the exit status of a judged run.
func statusOfVerdict(r *judge.Result) int {
	switch r.Verdict {
	case judge.Pass:
		return exitDone
	case judge.Fail:
		return exitFail
	case judge.Undecided:
		return exitUndecided
	case judge.Stopped:
		return exitStopped
	case judge.Tripped:
		return exitTrip
	case judge.Error:
		if r.Recording != nil && r.Recording.Ended == samples.BenchFault {
			return exitBus
		}
	}
	return exitInternal
}
