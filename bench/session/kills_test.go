package session

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/disk"
	"holdfast/bench/record"
)

// killer stops the program in front of its nth step on the disk, and lets nothing through after that.
type killer struct{ left, steps int }

var errKilled = errors.New("killed here")

func (k *killer) step(disk.Op, string) error {
	k.steps++
	if k.left--; k.left < 0 {
		return errKilled
	}
	return nil
}

// killed runs do with a kill in front of its nth step, and says whether it came to that.
func killed(n int, do func()) bool {
	k := &killer{left: n}
	restore := disk.Inject(k.step)
	defer restore()
	do()
	return k.left < 0
}

// wholeRun makes a run and puts it away, as far as it comes.
func wholeRun(t *testing.T, store string) {
	run, err := Open(context.Background(), config(t, store), newBus())
	if err != nil {
		return
	}
	defer run.Close()
	_, failed, unrecorded := run.Perform(context.Background(), Person{})
	if errors.Join(failed, unrecorded) != nil {
		return // a run whose journal cannot be written has ended
	}
	if result, err := run.Judge(); err == nil {
		_ = run.PutAway(context.Background(), result)
	}
}

// moments are the steps of a whole run: with all, every one; else of each kind on each file the first and the last.
func moments(t *testing.T, all bool) (at []int) {
	type kind struct {
		op   disk.Op
		name string
	}
	first, last, steps := map[kind]int{}, map[kind]int{}, 0
	store := t.TempDir()
	restore := disk.Inject(func(op disk.Op, path string) error {
		k := kind{op, filepath.Base(path)}
		if _, seen := first[k]; !seen {
			first[k] = steps
		}
		last[k] = steps
		steps++
		return nil
	})
	wholeRun(t, store)
	restore()
	for n := range steps {
		keep := all
		for k := range first {
			keep = keep || first[k] == n || last[k] == n
		}
		if keep {
			at = append(at, n)
		}
	}
	return at
}

// Goal: a run that is killed in front of any write, sync or rename is never lost, and is sealed and booked after
// recover, also where recover itself is killed. Method: a kill before each kind of step on each file (with
// HOLDFAST_KILLS=all before every step there is), and another in the recovery, at a step that moves on.
func TestKilledAnywhere(t *testing.T) {
	kills, sealed, never := 0, 0, 0
	wholeRun(t, t.TempDir()) // makes the signing key
	for i, n := range moments(t, os.Getenv("HOLDFAST_KILLS") == "all") {
		store := t.TempDir()
		require.True(t, killed(n, func() { wholeRun(t, store) }), "step %d", n)
		kills++
		if killed(i%25, func() { _, _ = Recover(context.Background(), store, wallClock) }) {
			kills++
		}
		one := settled(t, store, n, i%25)
		sealed, never = sealed+one, never+1-one
	}
	t.Logf("%d kills: %d runs sealed and booked, %d never begun, 0 lost", kills, sealed, never)
	require.Greater(t, sealed, 30)
	require.Less(t, never, 20, "before the run stands in the book, it has not begun")
}

// settled recovers a store and holds it against itself. It returns how many runs it holds.
func settled(t *testing.T, store string, n, m int) int {
	t.Helper()
	_, err := Recover(context.Background(), store, wallClock)
	require.NoError(t, err)
	again, err := Recover(context.Background(), store, wallClock)
	require.NoError(t, err)
	require.Empty(t, again, "a second call finds nothing")
	s, err := record.OpenOut(store)
	require.NoError(t, err)
	defer s.Close()
	open, err := s.Unfinished(context.Background())
	require.NoError(t, err)
	require.Empty(t, open)
	d, err := s.Compare(context.Background())
	require.NoError(t, err)
	require.Empty(t, d.Wrong, "killed at step %d, recovery at step %d", n, m)
	runs, err := s.Runs(context.Background(), "")
	require.NoError(t, err)
	require.Equal(t, d.Runs, len(runs))
	require.LessOrEqual(t, len(runs), 1)
	return len(runs)
}
