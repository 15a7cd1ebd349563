package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

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
	asker   *asker // nil: nobody is there

	framesFile io.Closer
}

// openRun opens the bus first: a bus that is not there leaves no empty record behind.
func openRun(o runOptions, plan *scenario.Plan, r *rig.Rig) (run *testRun, err error) {
	port, err := openBus(o, r.Kind)
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
	if run.id.Simulated = noHardware(o.bus); o.bus == simBus {
		run.id.Seed, run.id.Faults = o.seed, o.faults.Map()
	}
	if run.id.BenchCheck, err = record.LastBenchCheck(run.out, run.rig.Name, noHardware(o.bus)); err != nil {
		return err
	}
	virtualTime := o.bus == simBus && !o.realTime
	if err = run.openFrames(o.bus, virtualTime); err != nil {
		return err
	}
	create := journal.Create
	if virtualTime {
		create = journal.CreateDirect // virtual time outruns any disk, and waits for it
	}
	run.journal, err = create(run.folder.Journal(), journal.Header{Identity: run.id,
		ScenarioPath: run.plan.Path, ScenarioText: run.plan.Text,
		RigPath: run.rig.Path, RigText: run.rig.Text, DBC: run.rig.DBC})
	return err
}

// openFrames begins the recording of the bus. In real time a goroutine of its own writes it, so that a slow
// disk does not hold up the command cycle.
func (run *testRun) openFrames(bus string, virtualTime bool) error {
	f, err := os.OpenFile(run.folder.Frames(), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return fmt.Errorf("create recording: %w", err)
	}
	var file journal.File = f
	run.framesFile = f
	if !virtualTime {
		background := journal.NewBackground(f)
		file, run.framesFile = background, background
	}
	if run.frames, err = capture.NewWriter(file, bus); err != nil {
		return fmt.Errorf("create recording: %w", errors.Join(err, run.framesFile.Close()))
	}
	run.port = capture.Tap(run.port, run.frames)
	return nil
}

// perform runs the plan, closes the record and judges it from what the journal says. Whatever fails
// on the way, it returns the status that the run deserves; the result is nil when the record cannot be read.
func (run *testRun) perform(ctx context.Context, p *progress) (*judge.Result, int) {
	orderly, atOnce, restore := signals(ctx)
	defer restore()
	outcome, failed := engine.Run(orderly, engine.Config{Plan: run.plan, Rig: run.rig, Port: run.port,
		Journal: run.journal, Asker: run.answers(), Progress: p.show, AtOnce: atOnce})
	p.end()
	unkept := run.closeRecord()
	p.lastWord(outcome)
	result, unread := record.Rejudge(run.folder)
	if unread == nil {
		unkept = errors.Join(unkept, run.write(context.WithoutCancel(ctx), result))
	}
	if err := errors.Join(failed, unkept, unread); err != nil {
		fmt.Fprintf(p.out, "holdfast: %v\n", err)
	}
	if unread != nil {
		return nil, statusOfEnd(outcome.Ended)
	}
	status := statusOfVerdict(result)
	switch {
	case result.Verdict == judge.Interrupted: // its end could not be written
		return result, statusOfEnd(outcome.Ended)
	case status == exitDone && (unkept != nil || failed != nil):
		return result, exitInternal // nothing passes without its record
	}
	return result, status
}

// answers is who answers the plan's questions; none when nobody was named.
func (run *testRun) answers() engine.Asker {
	if run.asker == nil {
		return nil
	}
	return run.asker
}

// closeRecord makes the files whole before anything is judged from them.
func (run *testRun) closeRecord() error {
	return errors.Join(run.journal.Close(), run.frames.Close(), run.framesFile.Close())
}

// write puts the judged run into its folder and into the index.
func (run *testRun) write(ctx context.Context, result *judge.Result) error {
	return writeResult(ctx, run.out, run.folder, result)
}

// writeResult puts a judged run into its folder and into the index of out.
func writeResult(ctx context.Context, out string, folder record.Folder, result *judge.Result) error {
	return errors.Join(
		folder.Write(record.ResultFile, func(w io.Writer) error { return writeJSON(w, result) }),
		folder.Write(record.ReportFile, func(w io.Writer) error { return report.HTML(w, result) }),
		folder.Write(record.JUnitFile, func(w io.Writer) error { return report.JUnit(w, result) }),
		sealRecord(out, folder, result),
		indexResult(ctx, out, folder, result))
}

func indexResult(ctx context.Context, out string, folder record.Folder, result *judge.Result) error {
	store, err := record.OpenOut(out)
	if err != nil {
		return err
	}
	return errors.Join(store.Add(ctx, result, folder.Path), store.Close())
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

// statusOfEnd is the exit status of a run whose record cannot say how it ended.
func statusOfEnd(e samples.Ended) int {
	switch e {
	case samples.Stopped:
		return exitStopped
	case samples.Tripped:
		return exitTrip
	case samples.BenchFault:
		return exitBus
	}
	return exitInternal
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
