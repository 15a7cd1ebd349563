package session

import (
	"context"
	"strings"

	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// KeepJudgement keeps a later judgement of a run beside the first, sealed and in the index, and returns its file's
// name. j says who judged, when, why and with which program; p and r are what it was judged by when that was not
// in the record, else nil.
func KeepJudgement(ctx context.Context, s *record.Store, store string, folder record.Folder, j record.Judgement,
	result *judge.Result, p *scenario.Plan, r *rig.Rig) (name string, err error) {
	if name, err = record.AddJudgement(folder, &j, result, p, r); err != nil {
		return "", err
	}
	about := map[string]string{"why": j.Why, "by": j.By}
	seal := strings.TrimSuffix(name, ".json")
	if _, err = record.SealFiles(store, folder, seal, []string{name}, result, j.Time, about); err != nil {
		return name, err
	}
	return name, s.IndexJudgements(ctx, folder)
}
