package torture

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/bench/rig"
)

func newTestBench(t *testing.T) *Bench {
	t.Helper()
	b, err := NewBench()
	require.NoError(t, err)
	return b
}

// TestSeeds runs the first seeds, each twice, on both cores: no checker may be broken, and the seeds must
// have brought about enough of what they are meant to.
func TestSeeds(t *testing.T) {
	seeds := 200
	if testing.Short() {
		seeds = 40
	}
	o := Options{From: 1, Seeds: seeds, Jobs: 2, Run: newTestBench(t).RunTwice}
	tally, err := Campaign(context.Background(), o)
	require.NoError(t, err)
	require.Equal(t, seeds, tally.Seeds)
	require.Empty(t, tally.Broken)
	t.Logf("%d seeds, %v simulated\nends %v\ntrips %v\nverdicts %v", tally.Seeds,
		tally.Run.Round(time.Second), tally.Ends, tally.Trips, tally.Verdicts)
	t.Logf("over-pressures answered: %d, worst after %v (two cycles: %v)", tally.Answers, tally.Worst, 2*cycle)
	if testing.Short() {
		return // too few seeds to have it all
	}
	for _, kind := range kindNames {
		require.NotZero(t, tally.Troubles[kind], "never drawn: %s", kind)
	}
	for _, end := range []string{"completed", "stopped", "tripped", "bench fault", "killed"} {
		require.NotZero(t, tally.Ends[end], "no run ended as %s", end)
	}
	require.Len(t, tally.Rigs, 2)
	require.NotEmpty(t, tally.Faults)
	require.NotEmpty(t, tally.Lies)
	require.NotZero(t, tally.Answers)
	require.NotZero(t, tally.Verdicts["pass"])
}

// TestJobsMakeNoDifference: the tally depends on the seeds alone.
func TestJobsMakeNoDifference(t *testing.T) {
	b := newTestBench(t)
	one, err := Campaign(context.Background(), Options{From: 1, Seeds: 20, Jobs: 1, Run: b.Run})
	require.NoError(t, err)
	three, err := Campaign(context.Background(), Options{From: 1, Seeds: 20, Jobs: 3, Run: b.Run})
	require.NoError(t, err)
	require.Equal(t, one, three)
}

// lateAnswer holds every command back that rests, as a harness that answers too late would.
type lateAnswer struct {
	*wire
	by time.Duration
}

func (l *lateAnswer) Send(f einride.Frame) error {
	if w := l.watch; w.over != 0 && l.bus.Now().Sub(w.over) < l.by {
		return nil
	}
	return l.wire.Send(f)
}

// neverRests turns every command at rest into one that drives.
type neverRests struct{ *wire }

func (n *neverRests) Send(f einride.Frame) error {
	switch {
	case n.watch.driven == 0 || !n.trial.rests(&f):
	case isRequest(&f):
		f.Data[2] = f.Data[2]&0xF0 | 1 // prepare
	case n.trial.own:
		f.Data[4] = f.Data[4]&0x3F | 0x40 // and leave it its supply
	default:
		f.Data[0], f.Data[1] = 0x10, 0x27
	}
	return n.wire.Send(f)
}

// TestCheckersNotice spoils the harness and the disk in turn: for each there is a checker that says so.
func TestCheckersNotice(t *testing.T) {
	b := newTestBench(t)
	blind := func(r *run) {
		spoilt := *r.rig
		spoilt.Guard.MaxPressure, spoilt.Guard.MaxPressureRise = 100, 0
		r.rig, r.plan.MaxPressure = &spoilt, 0
	}
	for _, c := range []struct {
		name  string
		spoil func(*run)
		says  string
		from  uint64 // a seed that draws what it takes is not far behind
		bare  bool   // not seen on a unit with its own controller, which regulates by itself
	}{
		{"answers late", func(r *run) { r.port = &lateAnswer{r.wire, 70 * time.Millisecond} }, "answered only", 60, false},
		{"never rests", func(r *run) { r.port = &neverRests{r.wire} }, "outputs are not safe", 1, false},
		{"blind to pressure", blind, "nothing tripped", 60, false},
		{"blind to the truth", blind, "the pump is still driven", 530, true},
		{"lets the pressure rise whatever the gauges say", blind, "are really there", 1, true},
		{"drives on", blind, "a command drives", 60, false},
		{"loses what it acknowledged", func(r *run) { r.disk.loses = 3000 }, "readings were acknowledged", 1, false},
		{"changes what it was given", func(r *run) { r.ledger.spoil = 0.001 }, "is not what was given", 1, false},
		{"is handed what it does not record", func(r *run) { r.ledger.skip = 10 }, "handed", 1, false},
		{"fails a quiet run", func(r *run) { r.rig = withCurrentLimit(*b.bare, 0.1) }, "nothing was wrong", 8, true},
	} {
		for _, own := range []bool{false, true} {
			if own && c.bare {
				continue
			}
			t.Run(fmt.Sprintf("%s/own=%v", c.name, own), func(t *testing.T) {
				for seed := c.from; seed < c.from+500; seed++ {
					if draw(seed).own != own {
						continue
					}
					r, err := b.run(seed, c.spoil)
					require.NoError(t, err)
					if strings.Contains(strings.Join(r.Broken, "\n"), c.says) {
						t.Logf("noticed at seed %d: %s", seed, r.Broken[0])
						return
					}
				}
				require.Fail(t, "no checker noticed")
			})
		}
	}
}

func withCurrentLimit(r rig.Rig, amps float64) *rig.Rig {
	r.Guard.MaxCurrent = amps
	return &r
}
