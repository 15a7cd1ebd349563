package history_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/history"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
)

func line(name string, v, u float64) judge.Line {
	return judge.Line{Characteristic: measure.Characteristic{Name: name, Unit: "bar", Value: v, U: u,
		State: measure.Measured}}
}

func TestCompare(t *testing.T) {
	missing := judge.Line{Characteristic: measure.Characteristic{Name: "c", Unit: "bar", Value: math.NaN()}}
	before := &judge.Result{Lines: []judge.Line{line("a", 10, 3), line("b", 1, 0.3), missing, line("only", 1,
		1)}}
	after := &judge.Result{Lines: []judge.Line{line("b", 1.4, 0.4), line("a", 15.1, 4), line("c", 1, 1),
		line("new", 1, 1)}}
	got := history.Compare(before, after)
	require.Len(t, got, 5)
	want := []struct {
		name string
		kind history.Kind
	}{{"b", history.Same}, {"a", history.Changed}, {"c", history.NotComparable}, {"new",
		history.NotComparable},
		{"only", history.NotComparable}}
	for i, w := range want {
		require.Equal(t, w.name, got[i].Name)
		require.Equal(t, w.kind, got[i].Kind, w.name)
	}
	require.InDelta(t, 0.5, got[0].U, 1e-12, "3-4-5")
	require.InDelta(t, 5.1, got[1].Change, 1e-12)
	require.Nil(t, got[3].Before)
	require.Nil(t, got[4].After)
}

// Two runs of one unit, the same but for their scatter: about 5 % are called changed, no more.
func TestCompare_FalseAlarms(t *testing.T) {
	// Quantiles of a normal distribution stand for its draws: every pair of 199 is looked at.
	alarms, pairs := 0, 0
	for i := 1; i < 200; i++ {
		for j := 1; j < 200; j++ {
			a, b := normal(float64(i)/200), normal(float64(j)/200)
			d := history.Compare(&judge.Result{Lines: []judge.Line{line("a", a, 2)}},
				&judge.Result{Lines: []judge.Line{line("a", b, 2)}})
			pairs++
			if d[0].Kind == history.Changed {
				alarms++
			}
		}
	}
	require.InDelta(t, 0.0455, float64(alarms)/float64(pairs), 0.006, "P(|z| > 2), normal distribution")
}

func normal(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

func TestMonthsAndSlope(t *testing.T) {
	at := time.Date(2026, 1, 31, 23, 0, 0, 0, time.UTC)
	var values []history.Value
	for i := range 40 { // one a day, rising by 0.1 a day
		values = append(values, history.Value{Time: at.AddDate(0, 0, i), Value: 5 + 0.1*float64(i),
			Fail: i == 3})
	}
	values = append(values, history.Value{Time: at, Value: math.NaN()})
	months := history.Months(values)
	require.Len(t, months, 3)
	require.Equal(t, []int{1, 28, 11}, []int{months[0].N, months[1].N, months[2].N})
	require.Equal(t, 1, months[1].Fails)
	require.InDelta(t, 5.1, months[1].Low, 1e-12)
	require.InDelta(t, 7.8, months[1].High, 1e-12)
	slope, u, ok := history.Slope(values[:40])
	require.True(t, ok)
	require.InDelta(t, 3, slope, 1e-9)
	require.Less(t, u, 1e-9)
	_, _, ok = history.Slope(values[:2])
	require.False(t, ok)
}

// Wilson's intervals as R's prop.test(x, n, correct = FALSE) prints them (from memory): 8 of 10 gives
// 0.490 to 0.943, 0 of 10 gives 0 to 0.278.
func TestRate(t *testing.T) {
	p, low, high := history.Rate(8, 10)
	require.InDelta(t, 0.8, p, 1e-12)
	require.InDelta(t, 0.490, low, 5e-4)
	require.InDelta(t, 0.943, high, 5e-4)
	_, low, high = history.Rate(0, 10)
	require.Zero(t, low)
	require.InDelta(t, 0.278, high, 5e-4)
	p, low, high = history.Rate(0, 0)
	require.True(t, math.IsNaN(p))
	require.Equal(t, []float64{0, 1}, []float64{low, high})
}
