package record

import (
	"errors"
	"fmt"
	"io"
	"os"

	"holdfast/bench/journal"
	"holdfast/bench/judge"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// Rejudge reads a run back from its journal alone and judges it by the rig and the scenario that
// are kept in it: on another day, the same Result. Nothing is written. Where the verdict differs from the
// one in result.json, a warning says so.
func Rejudge(f Folder) (*judge.Result, error) { return RejudgeWith(f, nil, nil) }

func openJournal(f Folder) (journal.Header, *samples.Recording, error) {
	h, rec, err := journal.Open(f.Journal())
	if err != nil {
		err = fmt.Errorf("judge run %s: %w", f.Run, err)
	}
	return h, rec, err
}

// judgeRun judges what the journal held, with the priors that are kept beside it.
func judgeRun(f Folder, h journal.Header, rec *samples.Recording, r *rig.Rig, p *scenario.Plan) (*judge.Result, error) {
	res := judge.Judge(h.Identity, rec, r, p)
	if err := weigh(f, res); err != nil {
		return nil, fmt.Errorf("judge run %s: %w", f.Run, err)
	}
	if h.Tail.Unreadable > 0 {
		res.Warnings = append(res.Warnings, fmt.Sprintf("the last %d bytes of the journal could not be read (%s): "+
			"what they held is missing here", h.Tail.Unreadable, h.Tail.Why))
	}
	if given, ok := givenVerdict(f); ok && given.verdict != res.Verdict.String() {
		res.Warnings = append(res.Warnings, fmt.Sprintf("the verdict on record is %q, given by holdfast %s; "+
			"judged again by this program it is %q", given.verdict, given.Version, res.Verdict))
	}
	return res, nil
}

// givenVerdict reads the judgement on record; a run that was never judged has none.
func givenVerdict(f Folder) (entry, bool) {
	file, err := os.Open(f.Result())
	if err != nil {
		return entry{}, false
	}
	defer file.Close()
	e, err := decodeResult(io.LimitReader(file, maxResult), f.Path)
	return e, err == nil
}

// keptDBC answers a rig's request for its message database with the one in the record.
func keptDBC(text []byte) func(string) ([]byte, error) {
	return func(name string) ([]byte, error) {
		if text == nil {
			return nil, errors.New("the record holds no message database")
		}
		return text, nil
	}
}
