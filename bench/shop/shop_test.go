package shop

import (
	"context"
	"encoding/json"
	"io"
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/cause"
	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/bench/samples"
)

var (
	noon = time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)
	ctx  = context.Background()
)

func openStore(t *testing.T) (*record.Store, string) {
	t.Helper()
	out := t.TempDir()
	s, err := record.OpenOut(out)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s, out
}

// keep puts a judged run of unit A on record; its most likely cause is the membrane.
func keep(t *testing.T, s *record.Store, out string, at time.Time, v judge.Overall, simulated bool) record.Folder {
	t.Helper()
	live, err := s.Begin(ctx, record.Beginning{Serial: "A", By: "Kim", Scenario: "release", ScenarioText: []byte("steps"),
		Rig: "bench-node", Bus: "can0", Simulated: simulated, Now: at})
	require.NoError(t, err)
	defer live.Close()
	f := live.Folder
	require.NoError(t, os.WriteFile(f.Journal(), nil, 0o644))
	res := &judge.Result{Verdict: v, Identity: samples.Identity{Run: f.Run, Serial: "A", Started: at, Scenario: "release",
		Rig: "bench-node", Bus: "can0", Simulated: simulated},
		Causes: []cause.Cause{{Name: "membrane-split", Probability: 0.9}, {Name: "outside-leak", Probability: 0.1}}}
	require.NoError(t, f.Write(record.ResultFile, func(w io.Writer) error { return json.NewEncoder(w).Encode(res) }))
	require.NoError(t, s.PutAway(ctx, f, res, at, false))
	return f
}

// A unit that is in the shop already is added to.
func TestTakeIn(t *testing.T) {
	s, _ := openStore(t)
	first, opened, err := TakeIn(ctx, s, record.Note{Time: noon, Serial: "A", Complaint: "no pressure"})
	require.NoError(t, err)
	require.True(t, opened)
	second, opened, err := TakeIn(ctx, s, record.Note{Time: noon, Serial: "A", Owner: "job 17"})
	require.NoError(t, err)
	require.False(t, opened)
	require.Equal(t, first, second)
	v, err := s.Visit(ctx, first)
	require.NoError(t, err)
	require.Equal(t, []string{"no pressure", "job 17"}, []string{v.Complaint, v.Owner})
	_, _, err = TakeIn(ctx, s, record.Note{Time: noon, Serial: " "})
	require.ErrorContains(t, err, "serial is empty")
}

// Each reason for which a unit may not go, in the order in which they can be met. None closes the visit.
func TestRelease_Refused(t *testing.T) {
	s, out := openStore(t)
	release := func(change func(*Request)) error {
		q := Request{Leaving: record.Leaving{Serial: "A", By: "Kim", Now: noon, Default: []record.Policy{{Name: "release",
			SHA256: record.HashText([]byte("steps"))}}}, Paper: report.A4}
		if change != nil {
			change(&q)
		}
		_, err := Release(ctx, s, q)
		require.Error(t, err)
		return err
	}
	require.ErrorIs(t, release(func(q *Request) { q.By = " " }), ErrNoName)
	require.ErrorIs(t, release(nil), record.ErrNoVisit)
	id, _, err := TakeIn(ctx, s, record.Note{Time: noon, Serial: "A"})
	require.NoError(t, err)

	for i, c := range []struct {
		verdict   judge.Overall
		simulated bool
		want      string
	}{
		{judge.NotJudged, false, "no run since visit V0001"}, // none yet
		{judge.Fail, false, "is not a pass but fail"},
		{judge.Undecided, false, "is not a pass but undecided"},
		{judge.Pass, true, "no real unit was tested"},
		{judge.Pass, false, "the record of run"}, // a pass, and its journal is empty
		{judge.Interrupted, false, "is not a pass but interrupted"},
	} {
		if c.verdict != judge.NotJudged {
			keep(t, s, out, noon.Add(time.Duration(i)*time.Hour), c.verdict, c.simulated)
		}
		err := release(nil)
		require.ErrorIs(t, err, ErrNotReleased, c.want)
		require.ErrorContains(t, err, c.want)
	}
	v, err := s.Visit(ctx, id)
	require.NoError(t, err)
	require.True(t, v.Open())
}

func TestCheckFinding(t *testing.T) {
	require.NoError(t, CheckFinding("membrane-split", ""))
	require.NoError(t, CheckFinding(OtherCause, "connector pin bent"))
	require.ErrorContains(t, CheckFinding(OtherCause, " "), "--note")
	require.ErrorContains(t, CheckFinding("membrane-splt", ""), "did you mean membrane-split?")
	require.ErrorContains(t, CheckFinding("xyzzyxyzzyxyzzy", ""), "one of ")
}

// A cause that was named first counts, one that was named second counts among the first two, and one that was
// not named has a probability all the same.
func TestScore(t *testing.T) {
	s, out := openStore(t)
	_, _, err := TakeIn(ctx, s, record.Note{Time: noon.Add(-time.Hour), Serial: "A"})
	require.NoError(t, err)
	require.ErrorContains(t, AdoptPriors(ctx, s, "Kim", noon), "nothing to adopt")
	keep(t, s, out, noon, judge.Fail, false)
	for i, found := range []string{"membrane-split", "outside-leak", "pump-worn"} {
		_, err := s.Found(ctx, record.Note{Time: noon.Add(time.Duration(i+1) * time.Hour), Serial: "A", Cause: found})
		require.NoError(t, err)
	}
	card, err := Score(ctx, s, false)
	require.NoError(t, err)
	require.Equal(t, []int{3, 3, 1, 2}, []int{card.Findings, card.Scored, card.First, card.FirstTwo})
	require.InDelta(t, (-0.1053605-2.3025851-13.8155106)/3, *card.LogScore, 1e-6) // ln 0.9, ln 0.1, ln 1e-6
	require.Less(t, card.FirstLow, 1.0/3)
	require.Greater(t, card.FirstHigh, 1.0/3)
	require.Nil(t, card.InForce)

	require.NoError(t, AdoptPriors(ctx, s, "Kim", noon))
	card, err = Score(ctx, s, false)
	require.NoError(t, err)
	require.Equal(t, "Kim", card.InForce.By)
	for _, c := range card.Causes {
		require.InDelta(t, c.Shop, c.Used, 1e-12, c.Name)
	}
	require.NoError(t, ResetPriors(ctx, s, "Kim", noon))
	card, err = Score(ctx, s, false)
	require.NoError(t, err)
	for _, c := range card.Causes {
		require.Equal(t, c.Program, c.Used, c.Name)
	}
}

// A visit with nothing to look at is an error; one with a single failed run shows it as the bench before.
func TestLook(t *testing.T) {
	s, out := openStore(t)
	id, _, err := TakeIn(ctx, s, record.Note{Time: noon, Serial: "A"})
	require.NoError(t, err)
	v, err := s.Visit(ctx, id)
	require.NoError(t, err)
	_, err = Look(ctx, s, v, "release", 0)
	require.ErrorContains(t, err, "has no run of release and no watch")
	keep(t, s, out, noon.Add(time.Hour), judge.Fail, false)
	_, err = Look(ctx, s, v, "release", 0)
	require.ErrorContains(t, err, "journal", "it is judged again from its record, which here is empty")
}
