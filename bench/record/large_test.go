package record_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/cause"
	"holdfast/bench/grade"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/record"
	"holdfast/bench/samples"
)

// The bar: what a person asks for is there within 100 ms with 100 000 runs on record, about 31 results
// each. HOLDFAST_RUNS=100000 makes the index that large and holds the bar; without it 2 000 runs keep the
// test quick.
func TestStore_LargeStaysFast(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds, and times mean nothing beside the race detector: make test runs it")
	}
	n := 2_000
	if text := os.Getenv("HOLDFAST_RUNS"); text != "" {
		var err error
		n, err = strconv.Atoi(text)
		require.NoError(t, err)
	}
	out, ctx := t.TempDir(), context.Background()
	s := open(t, out)
	began := time.Now()
	require.NoError(t, s.AddMany(ctx, n, manyRuns()))
	info, err := os.Stat(filepath.Join(out, record.IndexFile))
	require.NoError(t, err)
	t.Logf("%d runs put in within %.1f s, index %d MiB", n, time.Since(began).Seconds(), info.Size()>>20)
	require.NoError(t, s.Close())

	last := noon.Add(time.Duration(n) * 10 * time.Minute)
	asked := []struct {
		what string
		ask  func(s *record.Store) (int, error)
		want int
	}{
		{"the newest 50", searching(record.Search{Limit: 50}), 50},
		{"the newest 50 that failed", searching(record.Search{Verdict: "fail", Limit: 50}), 50},
		{"one unit's history", searching(record.Search{Serial: "S7"}), n / 1000},
		{"failed for one cause, 50", searching(record.Search{Verdict: "fail", Cause: "pump-worn", Limit: 50}), 50},
		{"one week", searching(record.Search{Since: last.AddDate(0, 0, -7), Until: last}), min(n, 7*24*6)},
		{"trend, newest 2000", func(s *record.Store) (int, error) {
			p, err := s.Trend(ctx, record.Trend{Characteristic: "c05", Limit: 2000, Simulated: true})
			return len(p), err
		}, 2000},
		{"names of characteristics", func(s *record.Store) (int, error) {
			names, err := s.SetPoints(ctx, "")
			return len(names), err
		}, 31},
	}
	for _, a := range asked {
		began := time.Now()
		s, err := record.OpenOut(out) // a command opens the index anew
		require.NoError(t, err)
		got, err := a.ask(s)
		require.NoError(t, err)
		took := time.Since(began)
		require.NoError(t, s.Close())
		t.Logf("%-28s %6.1f ms", a.what, float64(took.Microseconds())/1000)
		require.Equal(t, a.want, got, a.what)
		bar := time.Second // without an index it would take longer; a busy computer is no failure
		if os.Getenv("HOLDFAST_RUNS") != "" {
			bar = 100 * time.Millisecond
		}
		require.Less(t, took, bar, a.what)
	}
}

func searching(q record.Search) func(*record.Store) (int, error) {
	return func(s *record.Store) (int, error) {
		runs, err := s.Search(context.Background(), q)
		return len(runs), err
	}
}

// manyRuns makes a run every ten minutes on a thousand units, one in four failed.
func manyRuns() func(i int) *judge.Result {
	random := rand.New(rand.NewPCG(1, 2))
	names := [...]string{"membrane-split", "pump-worn", "doser-drip"}
	return func(i int) *judge.Result {
		res := &judge.Result{Identity: samples.Identity{Run: fmt.Sprintf("run-%07d", i), Serial: fmt.Sprintf("S%d", i%1000),
			UnitHours: 20_000, Started: noon.Add(time.Duration(i) * 10 * time.Minute), Scenario: "release", Rig: "bench-node",
			Bus: "can0", Version: "test"}, Verdict: judge.Pass}
		if i%4 == 0 {
			res.Verdict = judge.Fail
		}
		for c := range 31 {
			res.Lines = append(res.Lines, judge.Line{Characteristic: measure.Characteristic{Name: fmt.Sprintf("c%02d", c),
				Unit: "bar", Value: random.NormFloat64(), U: 0.1, State: measure.Measured}, Verdict: grade.Pass})
		}
		for c := range 3 {
			res.Causes = append(res.Causes, cause.Cause{Name: names[(i/4+c)%3], Title: names[(i/4+c)%3], Probability: 0.5})
		}
		return res
	}
}
