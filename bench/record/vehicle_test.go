package record_test

import (
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/watch"
)

func heard(serial string, stage record.Stage, at time.Time) record.Watched {
	share := 97.5
	return record.Watched{Serial: serial, Stage: stage, By: "Kim", Now: at, Version: "test", Events: []byte(`{"kind":"purge-cut"}` + "\n"),
		Summary: &watch.Summary{Name: "drive.pcapng", Vehicle: "TEST0000000000001", First: at.Add(-time.Hour), Last: at,
			Frames: 5, Level: watch.Act,
			Units:    []watch.UnitReport{{Bank: 1, Source: 61, InBand: &share, Findings: []watch.Finding{{Check: "after-run purge", Level: watch.Act, Seen: "cut short once"}}}},
			Findings: []watch.Finding{{Check: "bus", Level: watch.OK, Seen: "5 frames"}}}}
}

// Before removal, after refit: both are documents of the visit, sealed, and come back from folders and book
// when the index is lost, and from a backup.
func TestKeepWatch(t *testing.T) {
	out, ctx := t.TempDir(), context.Background()
	s := open(t, out)
	_, _, err := s.KeepWatch(ctx, heard("A", record.Before, noon))
	require.ErrorIs(t, err, record.ErrNoVisit)
	require.NoFileExists(t, filepath.Join(out, record.BookFile))
	_, err = s.Intake(ctx, record.Note{Time: noon, Serial: "A"})
	require.NoError(t, err)
	v, before, err := s.KeepWatch(ctx, heard("A", record.Before, noon.Add(time.Minute)))
	require.NoError(t, err)
	require.Equal(t, "V0001", v.ID)
	run := keep(t, s, out, "A", noon.Add(time.Hour), judge.Pass)
	_, err = s.LetGo(ctx, record.Note{Time: noon.Add(2 * time.Hour), Serial: "A", By: "Kim", Run: run}, number)
	require.NoError(t, err)
	_, _, err = s.KeepWatch(ctx, heard("A", record.Before, noon.Add(3*time.Hour)))
	require.ErrorContains(t, err, "was released on")
	_, after, err := s.KeepWatch(ctx, heard("A", record.After, noon.Add(3*time.Hour)))
	require.NoError(t, err, "after refit the unit has left the shop")

	want := []record.VehicleCheck{before, after}
	same := func(s *record.Store, why string) {
		t.Helper()
		v, err := s.Visit(ctx, "V0001")
		require.NoError(t, err)
		require.Equal(t, want, v.Vehicle, why)
		for _, c := range v.Vehicle {
			require.Empty(t, s.TamperedWatch(c), why)
			sum, err := s.ReadWatch(c)
			require.NoError(t, err)
			require.Equal(t, heard("A", c.Stage, c.Attached).Summary, sum, why)
		}
	}
	same(s, "as kept")
	require.Equal(t, "after-run purge", before.Raised)
	n, bad, err := s.Reindex(ctx)
	require.NoError(t, err)
	require.Empty(t, bad)
	require.Equal(t, 1, n, "a watch is no run")
	same(s, "index made anew")
	runs, err := record.Resolve(out, run[:4])
	require.NoError(t, err, "the folder of a watch is no run that a person may mean")
	require.Equal(t, run, runs.Run)

	copied, back := filepath.Join(t.TempDir(), "copy"), filepath.Join(t.TempDir(), "back")
	c, err := s.BackUpAll(ctx, copied)
	require.NoError(t, err)
	require.Equal(t, record.Copied{Copied: 1}, c, "runs")
	require.NoError(t, record.Restore(copied, back))
	same(open(t, back), "restored")
}

// Every byte of a kept watch is under its seal, and the seal is in the book.
func TestKeepWatch_Tampering(t *testing.T) {
	out, ctx := t.TempDir(), context.Background()
	s := open(t, out)
	_, err := s.Intake(ctx, record.Note{Time: noon, Serial: "A"})
	require.NoError(t, err)
	_, c, err := s.KeepWatch(ctx, heard("A", record.Before, noon))
	require.NoError(t, err)
	dir := filepath.Join(out, c.Folder)
	for _, name := range []string{watch.SummaryFile, watch.EventsFile, "watch.seal.json", "watch.seal.sig"} {
		path := filepath.Join(dir, name)
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		changed := append([]byte(nil), text...)
		changed[len(changed)/2] ^= 1
		require.NoError(t, os.WriteFile(path, changed, 0o644))
		require.NotEmpty(t, s.TamperedWatch(c), name)
		require.NoError(t, os.Remove(path))
		require.NotEmpty(t, s.TamperedWatch(c), name)
		require.NoError(t, os.WriteFile(path, text, 0o644))
	}
	require.Empty(t, s.TamperedWatch(c))
	_, other, err := s.KeepWatch(ctx, heard("A", record.Before, noon.Add(time.Hour)))
	require.NoError(t, err)
	require.NoError(t, os.RemoveAll(dir))
	require.NoError(t, os.CopyFS(dir, os.DirFS(filepath.Join(out, other.Folder))))
	require.Contains(t, s.TamperedWatch(c), "not the one in the book", "another watch, sealed by the same key")
}
