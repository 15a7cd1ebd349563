package session

import (
	"bytes"
	"context"
	"errors"

	"holdfast/bench/engine"
	"holdfast/bench/journal"
	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/can"
)

// Person is who watches a run and answers it. Every field may be nil.
type Person struct {
	Asker    engine.Asker          // answers the plan's questions; nil: nobody is there
	Progress func(engine.Progress) // is shown every command cycle; must not block
	AtOnce   context.Context       // is cancelled when the line shall not be relieved first
}

// Perform runs the plan until it ends or ctx does, and makes the files whole. Outcome says how the bench was left,
// whatever the error: that the program failed, or that something could not be recorded.
func (run *Run) Perform(ctx context.Context, p Person) (out engine.Outcome, failed, unrecorded error) {
	out, failed = engine.Run(ctx, engine.Config{Plan: run.config.Plan, Rig: run.config.Rig, Port: run.port,
		Journal: run.journal, Asker: p.Asker, Progress: p.Progress, AtOnce: p.AtOnce})
	unrecorded = run.closeFiles()
	run.logEnd(out, errors.Join(failed, unrecorded))
	return out, failed, unrecorded
}

func (run *Run) logEnd(out engine.Outcome, err error) {
	end := run.log.Info()
	switch {
	case err != nil:
		end = run.log.Error().Err(err)
	case out.Ended != samples.Completed:
		end = run.log.Warn()
	}
	if out.Trip != nil {
		end = end.Str("trip", out.Trip.Name)
	}
	if out.Fresh {
		end = end.Float64("pressure_bar", out.Pressure)
	}
	end.Str("ended", out.Ended.String()).Bool("safe_to_open", out.SafeToOpen()).Msg("run ended")
}

// Judge says what the journal holds: the same result as on any later day.
func (run *Run) Judge() (*judge.Result, error) { return record.Rejudge(run.Folder) }

// PutAway puts the judged run into its folder, seals it, books it and enters it into the index.
func (run *Run) PutAway(ctx context.Context, result *judge.Result) error {
	err := PutAway(ctx, run.store, run.Folder, result, run.config.Now(), false)
	if err != nil {
		run.log.Error().Err(err).Str("verdict", result.Verdict.String()).Msg("run not put away")
		return err
	}
	run.log.Info().Str("verdict", result.Verdict.String()).Msg("run put away")
	return nil
}

// InMemory runs a plan with its journal in memory and returns what that says: a run of many, of which only the
// result is kept. It closes the port.
func InMemory(ctx context.Context, id samples.Identity, p *scenario.Plan, r *rig.Rig, port can.Port,
	asker engine.Asker) (rec *samples.Recording, err error) {
	defer func() { err = errors.Join(err, port.Close()) }()
	var file journal.Memory
	w, err := journal.NewWriter(&file, Header(id, p, r))
	if err != nil {
		return nil, err
	}
	if _, err := engine.Run(ctx, engine.Config{Plan: p, Rig: r, Port: port, Journal: w, Asker: asker}); err != nil {
		return nil, err
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	_, rec, err = journal.Read(bytes.NewReader(file.Bytes()))
	return rec, err
}
