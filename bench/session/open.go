package session

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"holdfast/bench/journal"
	"holdfast/bench/record"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
)

// Config says what is run, on what, for which unit, and where the record goes.
type Config struct {
	Store     string // folder of the records
	Serial    string // of the unit
	UnitHours float64
	Plan      *scenario.Plan
	Rig       *rig.Rig
	Bus       string             // as the person named it
	Simulated bool               // nothing on this bus can be a real unit
	Seed      uint64             // of the simulator; 0 on a real bus
	Faults    map[string]float64 // set in the simulator; nil on a real bus
	Lies      []string           // told between a simulated bench and the harness; nil on a real bus
	Version   string             // of the program

	// VirtualTime says that the bench waits for the disk. In real time goroutines of their own write the record, so
	// that a slow disk does not hold up the command cycle.
	VirtualTime bool

	Now func() time.Time // the wall clock, for the times that the record states
}

// Run is one run being made: an open bus and a record that grows.
type Run struct {
	Identity samples.Identity
	Folder   record.Folder
	Visit    *record.Visit // the unit's open visit, which the run belongs to; nil: none

	config  Config
	port    can.Port
	frames  *capture.Writer
	file    io.Closer // of the frames
	journal *journal.Writer
}

// Open begins the record of a run on an open bus. The port is the run's from then on, also when Open fails: Close
// closes it.
func Open(ctx context.Context, c Config, port can.Port) (run *Run, err error) {
	run = &Run{config: c, port: port}
	defer func() {
		if err != nil {
			err = errors.Join(err, run.closeFiles(), run.Close())
			run = nil
		}
	}()
	now := c.Now()
	if run.Folder, err = record.NewFolder(c.Store, c.Serial, now); err != nil {
		return run, err
	}
	run.Identity = samples.Identity{Run: run.Folder.Run, Serial: c.Serial, UnitHours: c.UnitHours, Started: now,
		Scenario: c.Plan.Name, Rig: c.Rig.Name, Bus: c.Bus, Version: c.Version, Simulated: c.Simulated,
		Seed: c.Seed, Faults: c.Faults, Lies: c.Lies}
	if run.Identity.BenchCheck, err = record.LastBenchCheck(c.Store, c.Rig.Name, c.Simulated); err != nil {
		return run, err
	}
	if err = run.openFrames(); err != nil {
		return run, err
	}
	if err = run.openJournal(); err != nil {
		return run, err
	}
	return run, run.askStore(ctx)
}

// openFrames begins the recording of the bus.
func (run *Run) openFrames() error {
	f, err := os.OpenFile(run.Folder.Frames(), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return fmt.Errorf("create recording: %w", err)
	}
	var file journal.File = f
	run.file = f
	if !run.config.VirtualTime {
		background := journal.NewBackground(f)
		file, run.file = background, background
	}
	if run.frames, err = capture.NewWriter(file, run.config.Bus); err != nil {
		return fmt.Errorf("create recording: %w", err)
	}
	run.port = capture.Tap(run.port, run.frames)
	return nil
}

// openJournal begins the journal. Virtual time outruns any disk, and waits for it.
func (run *Run) openJournal() (err error) {
	create := journal.Create
	if run.config.VirtualTime {
		create = journal.CreateDirect
	}
	run.journal, err = create(run.Folder.Journal(), Header(run.Identity, run.config.Plan, run.config.Rig))
	return err
}

// askStore finds the visit that the run belongs to, and puts the shop's own priors into the folder.
func (run *Run) askStore(ctx context.Context) error {
	store, err := record.OpenOut(run.config.Store)
	if err != nil {
		return err
	}
	v, ok, err := store.OpenVisit(ctx, run.config.Serial)
	if ok {
		run.Visit = &v
	}
	return errors.Join(err, store.KeepPriors(ctx, run.Folder), store.Close())
}

// Header is the journal's header of a run: who and what, and the texts that it can be judged again by.
func Header(id samples.Identity, p *scenario.Plan, r *rig.Rig) journal.Header {
	return journal.Header{Identity: id, ScenarioPath: p.Path, ScenarioText: p.Text,
		RigPath: r.Path, RigText: r.Text, DBC: r.DBC}
}

// closeFiles makes what has been opened of the record whole.
func (run *Run) closeFiles() error {
	var errs []error
	if run.journal != nil {
		errs = append(errs, run.journal.Close())
	}
	if run.frames != nil {
		errs = append(errs, run.frames.Close())
	}
	if run.file != nil {
		errs = append(errs, run.file.Close())
	}
	return errors.Join(errs...)
}

// Close gives the bus back. A run that was not performed leaves a record that Recover closes as interrupted.
func (run *Run) Close() error { return run.port.Close() }
