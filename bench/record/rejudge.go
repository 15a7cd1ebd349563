package record

import (
	"errors"
	"fmt"

	"holdfast/bench/journal"
	"holdfast/bench/judge"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// Rejudge reads a run back from its journal alone and judges it by the rig and the scenario that
// are kept in it: on another day, the same Result. Nothing is written.
func Rejudge(f Folder) (*judge.Result, error) {
	h, rec, err := journal.Open(f.Journal())
	if err != nil {
		return nil, fmt.Errorf("judge run %s: %w", f.Run, err)
	}
	r, err := rig.Parse(h.RigPath, h.RigText, keptDBC(h.DBC))
	if err != nil {
		return nil, fmt.Errorf("judge run %s by the rig in its record: %w", f.Run, err)
	}
	p, err := scenario.Parse(h.ScenarioPath, h.ScenarioText)
	if err != nil {
		return nil, fmt.Errorf("judge run %s by the scenario in its record: %w", f.Run, err)
	}
	res := judge.Judge(h.Identity, rec, r, p)
	if h.Tail.Unreadable > 0 {
		res.Warnings = append(res.Warnings, fmt.Sprintf("the last %d bytes of the journal could not be read (%s): "+
			"what they held is missing here", h.Tail.Unreadable, h.Tail.Why))
	}
	return res, nil
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
