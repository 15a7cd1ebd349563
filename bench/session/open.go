package session

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/rs/zerolog"

	"holdfast/bench/disk"
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
	By        string // who runs the test
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
	Log zerolog.Logger   // operational log; the zero value logs nothing
}

// Run is one run being made: an open bus and a record that grows.
type Run struct {
	Identity samples.Identity
	Folder   record.Folder
	Visit    *record.Visit // the unit's open visit, which the run belongs to; nil: none

	config  Config
	store   *record.Store
	live    *record.Live   // holds the run's lock until the run is closed
	log     zerolog.Logger // with run and bench
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
	if run.store, err = record.OpenOut(c.Store); err != nil {
		return run, err
	}
	if err = run.begin(ctx); err != nil {
		return run, err
	}
	if err = run.openFrames(); err != nil {
		return run, err
	}
	if err = run.openJournal(); err != nil {
		return run, err
	}
	run.log.Info().Str("serial", c.Serial).Str("scenario", c.Plan.Name).Str("bus", c.Bus).Bool("simulated", c.Simulated).
		Msg("run opened")
	return run, nil
}

// begin enters the run into the book: from here on it cannot disappear. The shop's own priors go into the folder.
func (run *Run) begin(ctx context.Context) (err error) {
	c, now := &run.config, run.config.Now()
	check, err := record.LastBenchCheck(c.Store, c.Rig.Name, c.Simulated)
	if err != nil {
		return err
	}
	run.live, err = run.store.Begin(ctx, record.Beginning{Serial: c.Serial, By: c.By, Scenario: c.Plan.Name,
		ScenarioText: c.Plan.Text, Rig: c.Rig.Name, RigText: c.Rig.Text, DBC: c.Rig.DBC, Bus: c.Bus,
		Simulated: c.Simulated, Now: now})
	if err != nil {
		return err
	}
	run.Folder = run.live.Folder
	if run.live.Visit.ID != "" {
		run.Visit = &run.live.Visit
	}
	run.Identity = samples.Identity{Run: run.Folder.Run, Serial: run.live.Serial, UnitHours: c.UnitHours, Started: now,
		Scenario: c.Plan.Name, Rig: c.Rig.Name, Bus: c.Bus, Version: c.Version, Simulated: c.Simulated,
		Seed: c.Seed, Faults: c.Faults, Lies: c.Lies, By: c.By, BenchCheck: check}
	run.log = c.Log.With().Str("run", run.Folder.Run).Str("bench", c.Rig.Name).Logger()
	return run.store.KeepPriors(ctx, run.Folder)
}

// openFrames begins the recording of the bus.
func (run *Run) openFrames() error {
	f, err := disk.CreateNew(run.Folder.Frames())
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
	key, err := run.store.Key()
	if err != nil {
		return err
	}
	create := journal.CreateSigned
	if run.config.VirtualTime {
		create = journal.CreateDirectSigned
	}
	run.journal, err = create(run.Folder.Journal(), Header(run.Identity, run.config.Plan, run.config.Rig), key)
	return err
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

// Close gives the bus back and lets the run's record go. A run that was not put away leaves a record that Recover
// finishes.
func (run *Run) Close() error {
	err := run.port.Close()
	if run.live != nil {
		err = errors.Join(err, run.live.Close())
	}
	if run.store != nil {
		err = errors.Join(err, run.store.Close())
	}
	return err
}
