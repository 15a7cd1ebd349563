package record_test

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/judge"
	"holdfast/bench/record"
)

func number(before int) string { return fmt.Sprintf("C%04d", before+1) }

// keep writes a run as the command line does: folder, journal, result.json, index.
func keep(t *testing.T, s *record.Store, out, serial string, at time.Time, v judge.Overall) string {
	t.Helper()
	f, err := record.NewFolder(out, serial, at)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(f.Journal(), nil, 0o644))
	res := result(f.Run, serial, at, v)
	require.NoError(t, f.Write(record.ResultFile, func(w io.Writer) error { return json.NewEncoder(w).Encode(res) }))
	require.NoError(t, s.Add(context.Background(), res, f.Path))
	return f.Run
}

// A unit comes in, fails, is stripped and rebuilt, passes and goes out; a year later it comes back.
// The index is then thrown away, and folders and book bring all of it back.
func TestVisits_ThereAndBack(t *testing.T) {
	out, ctx := t.TempDir(), context.Background()
	s := open(t, out)
	count, active := uint8(3), true
	id, err := s.Intake(ctx, record.Note{Time: noon, Serial: "A", UnitKind: "24 V", Hours: 19_900, Owner: "job 17",
		Complaint: "no pressure, lamp on", By: "Kim", Faults: []record.FaultSeen{{SPN: 4334, FMI: 18, Count: &count, Active: &active, Origin: "typed"}}})
	require.NoError(t, err)
	require.Equal(t, "V0001", id)
	_, err = s.Intake(ctx, record.Note{Time: noon, Serial: "A"})
	require.ErrorIs(t, err, record.ErrVisitOpen)
	_, err = s.Intake(ctx, record.Note{Time: noon, Serial: " "})
	require.ErrorContains(t, err, "serial is empty")

	outside := keep(t, s, out, "A", noon.Add(-time.Hour), judge.Fail)
	failed := keep(t, s, out, "A", noon.Add(time.Hour), judge.Fail)
	other := keep(t, s, out, "B", noon.Add(time.Hour), judge.Pass)
	visit, err := s.Found(ctx, record.Note{Time: noon.Add(2 * time.Hour), Serial: "A", Cause: "membrane-split",
		Remark: "split at the clamp", Parts: []string{"membrane", "seal kit"}, By: "Kim"})
	require.NoError(t, err)
	require.Equal(t, id, visit)
	passed := keep(t, s, out, "A", noon.Add(3*time.Hour), judge.Pass)
	released, err := s.LetGo(ctx, record.Note{Time: noon.Add(4 * time.Hour), Serial: "A", By: "Sam", Run: passed}, number)
	require.NoError(t, err)
	require.Equal(t, "C0001", released.Certificate)
	_, err = s.LetGo(ctx, record.Note{Time: noon, Serial: "A", By: "Sam", Run: passed}, number)
	require.ErrorIs(t, err, record.ErrNoVisit)
	after := keep(t, s, out, "A", noon.Add(5*time.Hour), judge.Pass)
	_, err = s.Intake(ctx, record.Note{Time: noon.AddDate(1, 0, 0), Serial: "A", Hours: 25_000})
	require.NoError(t, err)
	require.NoError(t, s.SetShop(ctx, record.Shop{Name: "Bench & Son", Address: "1 Yard"}, "Kim", noon))
	require.NoError(t, s.AdoptPriors(ctx, record.Adopted{Time: noon, By: "Kim", Priors: map[string]float64{"membrane-split": 0.6}}))

	look := looking(t, id, []string{failed, passed}, []string{outside, other, after})
	before := look(s)
	visits := before[0].([]record.Visit)
	require.Len(t, visits, 2)
	require.Equal(t, []string{"membrane", "seal kit"}, visits[1].Parts)
	require.Equal(t, "Sam", visits[1].ReleasedBy)
	require.Equal(t, "split at the clamp", visits[1].Found[0].Note)
	require.Equal(t, uint32(4334), visits[1].Faults[0].SPN)
	require.True(t, visits[0].Open())

	n, bad, err := s.Reindex(ctx)
	require.NoError(t, err)
	require.Empty(t, bad)
	require.Equal(t, 5, n)
	require.Equal(t, before, look(s))

	lost := t.TempDir() // the folder copied away without its index
	require.NoError(t, os.CopyFS(lost, os.DirFS(out)))
	for _, name := range []string{"index.db", "index.db-wal", "index.db-shm"} {
		_ = os.Remove(filepath.Join(lost, name))
	}
	again := open(t, lost)
	_, _, err = again.Reindex(ctx)
	require.NoError(t, err)
	require.Equal(t, before, look(again))
}

// looking reads everything that must come back, and holds the runs against the visit that they belong to.
func looking(t *testing.T, id string, inside, outside []string) func(*record.Store) []any {
	ctx := context.Background()
	return func(s *record.Store) (all []any) {
		visits, err := s.Visits(ctx, "A", 0)
		require.NoError(t, err)
		runs, err := s.Runs(ctx, "")
		require.NoError(t, err)
		require.Len(t, runs, len(inside)+len(outside))
		for _, run := range runs {
			require.Equal(t, slices.Contains(inside, run.ID), run.Visit == id, run.ID)
		}
		scores, err := s.Scores(ctx, true)
		require.NoError(t, err)
		require.Equal(t, []record.Score{{Visit: id, Serial: "A", Run: inside[0], Found: "membrane-split",
			Named: "membrane-split", Second: "outside-leak", P: 0.9}}, scores)
		none, err := s.Scores(ctx, false)
		require.NoError(t, err)
		require.Empty(t, none, "simulated runs say nothing about the shop's units")
		shop, err := s.Shop(ctx)
		require.NoError(t, err)
		priors, err := s.Priors(ctx)
		require.NoError(t, err)
		in, err := s.InShop(ctx)
		require.NoError(t, err)
		require.Len(t, in, 1)
		return append(all, visits, scores, shop, priors, in)
	}
}

// A crash may cut the book's last line, or come between book and index. Neither loses what was
// acknowledged nor stops the next note.
func TestBook_Crashes(t *testing.T) {
	out, ctx := t.TempDir(), context.Background()
	s := open(t, out)
	_, err := s.Intake(ctx, record.Note{Time: noon, Serial: "A"})
	require.NoError(t, err)
	require.NoError(t, s.BackUp(ctx, filepath.Join(out, "early.db")))
	_, err = s.Intake(ctx, record.Note{Time: noon, Serial: "B"})
	require.NoError(t, err)
	book, index := filepath.Join(out, record.BookFile), filepath.Join(out, record.IndexFile)
	// Between the two: the line is in the book, the index does not know it.
	for _, name := range []string{index, index + "-wal", index + "-shm"} {
		_ = os.Remove(name)
	}
	require.NoError(t, os.Rename(filepath.Join(out, "early.db"), index))
	v, ok, err := open(t, out).OpenVisit(ctx, "B")
	require.NoError(t, err)
	require.True(t, ok)
	require.Equal(t, "V0002", v.ID)
	// Cut short: what is there of the line is left alone, and the next note stands on its own.
	whole, err := os.ReadFile(book)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(book, append(whole, `{"n":4,"prev":"ab`...), 0o644))
	s = open(t, out)
	id, err := s.Intake(ctx, record.Note{Time: noon, Serial: "C"})
	require.NoError(t, err)
	require.Equal(t, "V0003", id)
	_, ok, err = open(t, out).OpenVisit(ctx, "C")
	require.NoError(t, err)
	require.True(t, ok)
	b, err := record.ReadBook(out)
	require.NoError(t, err)
	require.Len(t, b.Lines, 4, "the beginning and three units")
	require.Len(t, b.Faults, 1)
	require.True(t, b.Faults[0].Harmless, b.Faults[0])
}

// Several shops' computers write at once: every visit gets a number of its own.
func TestIntake_ManyAtOnce(t *testing.T) {
	out, ctx := t.TempDir(), context.Background()
	const writers, each = 4, 15
	var mu sync.Mutex
	seen := map[string]bool{}
	var wg sync.WaitGroup
	for w := range writers {
		s := open(t, out)
		wg.Go(func() {
			for i := range each {
				id, err := s.Intake(ctx, record.Note{Time: noon, Serial: fmt.Sprintf("%d-%d", w, i)})
				mu.Lock()
				if err != nil || seen[id] {
					t.Errorf("writer %d: %v, number %q given twice: %v", w, err, id, seen[id])
				}
				seen[id] = true
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	require.Len(t, seen, writers*each)
	in, err := open(t, out).InShop(ctx)
	require.NoError(t, err)
	require.Len(t, in, writers*each)
}

// An index that the first program made is brought up to date with all that is in it.
func TestOpen_BringsTheFirstVersionUpToDate(t *testing.T) {
	out, ctx := t.TempDir(), context.Background()
	text, err := os.ReadFile("migrations/0001_units_runs_results.sql")
	require.NoError(t, err)
	db, err := sql.Open("sqlite", filepath.Join(out, record.IndexFile))
	require.NoError(t, err)
	_, err = db.Exec(string(text) + `PRAGMA user_version = 1; PRAGMA application_id = 0x48466978;
		INSERT INTO units VALUES ('A', 12.5);
		INSERT INTO runs VALUES ('r1', 'A', 1000000000, 'release', 'bench-node', 'can0', 'pass', 12.5, 0, 'old', 'r1');
		INSERT INTO results VALUES ('r1', 0, 'leak_rate', '', 0.5, 0.1, 'mL/min', NULL, 1, 'pass');`)
	require.NoError(t, err)
	require.NoError(t, db.Close())
	s := open(t, out)
	points, err := s.Trend(ctx, record.Trend{Characteristic: "leak_rate"})
	require.NoError(t, err)
	require.Len(t, points, 1)
	require.Equal(t, int64(1), points[0].Started.Unix())
	require.Equal(t, 0.5, points[0].Value)
	runs, err := s.Runs(ctx, "A")
	require.NoError(t, err)
	require.Len(t, runs, 1)
	require.NoError(t, s.Check(ctx))
}

// A damaged page is found when the index is opened, and the answer says what would do.
func TestOpen_FindsDamage(t *testing.T) {
	out, ctx := t.TempDir(), context.Background()
	s, err := record.OpenOut(out)
	require.NoError(t, err)
	for i := range 200 {
		require.NoError(t, s.Add(ctx, result(fmt.Sprintf("run-%03d", i), "A", noon, judge.Pass), out))
	}
	require.NoError(t, s.BackUp(ctx, filepath.Join(out, "copy.db")))
	require.NoError(t, s.Close())
	path := filepath.Join(out, record.IndexFile)
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	found := 0
	for at := 4096 * 2; at+4096 <= len(b); at += 4096 {
		damaged := bytes.Clone(b)
		for i := range 64 {
			damaged[at+i] ^= 0xA5
		}
		require.NoError(t, os.WriteFile(path, damaged, 0o644))
		s, err := record.OpenOut(out)
		if err != nil {
			found++
			require.ErrorContains(t, err, "made again")
			continue
		}
		require.NoError(t, s.Close())
	}
	pages := len(b)/4096 - 2
	require.Greater(t, found, pages*9/10, "of %d damaged pages", pages)
	copied, err := record.Open(filepath.Join(out, "copy.db"))
	require.NoError(t, err)
	runs, err := copied.Runs(ctx, "")
	require.NoError(t, err)
	require.Len(t, runs, 200)
	require.NoError(t, copied.Check(ctx))
	require.NoError(t, copied.Close())
}
