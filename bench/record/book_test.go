package record_test

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/seal"
)

// bookOf makes a book of some twenty entries.
func bookOf(t testing.TB, out string) []byte {
	s, err := record.OpenOut(out)
	require.NoError(t, err)
	defer s.Close()
	for _, serial := range []string{"A-1", "A-2", "A-3", "A-4", "A-5"} {
		_, err := s.Intake(context.Background(), record.Note{Time: noon, Serial: serial, By: "Kim", Complaint: "no pressure"})
		require.NoError(t, err)
		for _, part := range []string{"seal kit", "membrane", "valve"} {
			_, err = s.Amend(context.Background(), record.Note{Time: noon, Serial: serial, Parts: []string{part}})
			require.NoError(t, err)
		}
	}
	text, err := os.ReadFile(filepath.Join(out, record.BookFile))
	require.NoError(t, err)
	return text
}

// Every single bit that is turned in the book is found and named, and costs no more than the line it stands in and,
// for the end of a line, the one after. Bits by chance, the same in every run.
func TestBook_BitFlips(t *testing.T) {
	out := t.TempDir()
	text := bookOf(t, out)
	clean, err := record.ReadBook(out)
	require.NoError(t, err)
	require.Empty(t, clean.Faults)
	ring, err := seal.UserRing()
	require.NoError(t, err)
	known, err := ring.Known()
	require.NoError(t, err)
	random := rand.New(rand.NewPCG(20261201, 1))
	const flips = 2000
	for range flips {
		at, bit := random.IntN(len(text)-1), random.IntN(8) // the end of the last line is a cut, see below
		b := bytes.Clone(text)
		b[at] ^= 1 << bit
		got := record.ProveBook(b, known...)
		require.NotEmpty(t, got.Faults, "byte %d, bit %d", at, bit)
		require.GreaterOrEqual(t, len(got.Lines), len(clean.Lines)-2, "byte %d, bit %d", at, bit)
		require.NotEmpty(t, got.Unanswered(), "byte %d, bit %d: %v", at, bit, got.Faults)
	}
}

// Lines that were removed, doubled, swapped, or brought from another book are named; what is there twice or out of
// place costs nothing.
func TestBook_Lines(t *testing.T) {
	out := t.TempDir()
	text := bookOf(t, out)
	other := bookOf(t, t.TempDir())
	lines, theirs := bytes.SplitAfter(text, []byte{'\n'}), bytes.SplitAfter(other, []byte{'\n'})
	all := len(lines) - 1
	join := func(parts ...[][]byte) []byte {
		var b []byte
		for _, p := range parts {
			b = append(b, bytes.Join(p, nil)...)
		}
		return b
	}
	for name, c := range map[string]struct {
		text     []byte
		lines    int
		harmless bool
	}{
		"removed":          {join(lines[:5], lines[6:]), all - 1, false},
		"two removed":      {join(lines[:5], lines[7:]), all - 2, false},
		"first removed":    {join(lines[1:]), all - 1, false},
		"doubled":          {join(lines[:5], lines[4:5], lines[5:]), all, true},
		"swapped":          {join(lines[:5], lines[6:7], lines[5:6], lines[7:]), all, true},
		"of another book":  {join(lines[:5], theirs[5:6], lines[6:]), all - 1, false},
		"a line cut short": {join(lines[:5], [][]byte{lines[5][:40], []byte("\n")}, lines[5:]), all, true},
	} {
		ring, err := seal.UserRing()
		require.NoError(t, err)
		known, err := ring.Known()
		require.NoError(t, err)
		b := record.ProveBook(c.text, known...)
		require.NotEmpty(t, b.Faults, name)
		require.Len(t, b.Lines, c.lines, name)
		require.Equal(t, c.harmless, len(b.Unanswered()) == 0, "%s: %v", name, b.Faults)
	}
}

func FuzzBook(f *testing.F) {
	text := bookOf(f, f.TempDir())
	root := text[:bytes.IndexByte(text, '\n')]
	f.Add(text)
	f.Add([]byte(`{"n":1,"prev":"","book":"","key":"",` + "\n" + `{"note":"intake"}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		book := record.ProveBook(b)
		if !bytes.Contains(b, root) {
			return // another process's book, or a stranger's: who began it is not this key
		}
		for i := range book.Lines {
			require.Contains(t, string(text), string(b[book.Lines[i].At:book.Lines[i].At+book.Lines[i].Size()]),
				"nothing is believed that the key did not sign")
		}
	})
}

// oldStore unpacks the store that the program of before wrote: three runs, two visits, one release.
func oldStore(t *testing.T) string {
	t.Helper()
	out := t.TempDir()
	file, err := os.Open("testdata/store-1.tar.gz")
	require.NoError(t, err)
	defer file.Close()
	plain, err := gzip.NewReader(file)
	require.NoError(t, err)
	archive := tar.NewReader(plain)
	for {
		h, err := archive.Next()
		if errors.Is(err, io.EOF) {
			return out
		}
		require.NoError(t, err)
		path := filepath.Join(out, filepath.Clean("/"+h.Name))
		if h.Typeflag == tar.TypeDir {
			require.NoError(t, os.MkdirAll(path, 0o755))
			continue
		}
		text, err := io.ReadAll(archive)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(path, text, 0o600))
	}
}

// A store of the program of before: read as it is, written only when it was upgraded, and then verified, judged
// again and released from.
func TestUpgrade_StoreOfBefore(t *testing.T) {
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	out, ctx := oldStore(t), context.Background()
	s := open(t, out)
	_, _, err := s.Reindex(ctx)
	require.NoError(t, err)
	runs, err := s.Runs(ctx, "")
	require.NoError(t, err)
	require.Len(t, runs, 3)
	_, err = s.Intake(ctx, record.Note{Time: noon, Serial: "NEW"})
	require.ErrorIs(t, err, record.ErrUnsigned)
	u, err := s.Upgrade(ctx, "Kim", noon)
	require.NoError(t, err)
	require.Equal(t, 3, u.Adopted)
	require.Empty(t, u.Unproven)
	require.Contains(t, u.Key, "was moved to")
	require.NoFileExists(t, filepath.Join(out, seal.KeyFile))
	again, err := s.Upgrade(ctx, "Kim", noon)
	require.NoError(t, err)
	require.Zero(t, again.Adopted)
	for _, r := range runs {
		f, err := s.Folder(r.ID)
		require.NoError(t, err)
		require.Empty(t, record.Tampered(out, f), r.ID)
		res, err := record.Rejudge(f)
		require.NoError(t, err)
		require.Equal(t, r.Verdict, res.Verdict.String())
	}
	d, err := s.Compare(ctx)
	require.NoError(t, err)
	require.Empty(t, d.Wrong)
	require.Equal(t, 3, d.Sealed)

	f, err := s.Folder(runs[0].ID)
	require.NoError(t, err)
	res, err := record.Rejudge(f)
	require.NoError(t, err)
	book, err := record.ReadBook(out)
	require.NoError(t, err)
	allowed := []record.Policy{{Name: "short", SHA256: book.Notes(record.NoteAdopted)[0].Opened.ScenarioHash}}
	p, err := s.Release(ctx, record.Leaving{Serial: "old-2", By: "Kim", Simulated: true, Default: allowed, Now: noon},
		func(before int, _ string) string { require.Equal(t, 1, before); return "C0002" },
		func(p *record.Passed) (string, error) {
			require.Equal(t, res.Run, p.Folder.Run)
			return "a certificate's seal", nil
		})
	require.NoError(t, err)
	require.Equal(t, "OLD-2", p.Note.Serial)

	// One line of the old part of the book changed: named, and nothing is released until it is answered for.
	path := filepath.Join(out, record.BookFile)
	text, err := os.ReadFile(path)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(path, bytes.Replace(text, []byte("no pressure"), []byte("no preSSure"), 1), 0o644))
	d, err = s.Compare(ctx)
	require.NoError(t, err)
	require.Contains(t, strings.Join(d.Wrong, "\n"), "before the book was signed were changed")
}

// A clock that was set back does not bring an older pass to the front, and the person hears of it.
func TestRelease_OrderIsTheBooks(t *testing.T) {
	out, ctx := t.TempDir(), context.Background()
	s := open(t, out)
	_, err := s.Intake(ctx, record.Note{Time: noon, Serial: "A"})
	require.NoError(t, err)
	put := func(at time.Time, v judge.Overall) string {
		live, err := s.Begin(ctx, record.Beginning{Serial: "A", Scenario: "release", ScenarioText: []byte("steps"),
			Rig: "bench-node", Bus: "can0", Now: at})
		require.NoError(t, err)
		defer live.Close()
		res := result(live.Folder.Run, "A", at, v)
		require.NoError(t, live.Folder.Write(record.ResultFile, func(w io.Writer) error { return json.NewEncoder(w).Encode(res) }))
		require.NoError(t, s.PutAway(ctx, live.Folder, res, at, false))
		return live.Folder.Run
	}
	put(noon.Add(time.Hour), judge.Pass)
	failed := put(noon.Add(-48*time.Hour), judge.Fail) // the clock was set back two days
	_, err = s.Release(ctx, record.Leaving{Serial: "A", By: "Kim", Now: noon}, nil, nil)
	require.ErrorIs(t, err, record.ErrNotReleased)
	require.ErrorContains(t, err, failed)
	require.Contains(t, record.ClockSaid(out, "A"), "clock went back before run "+failed)
}

func reopen(t *testing.T, out string) *record.Store {
	t.Helper()
	s, err := record.OpenOut(out)
	require.NoError(t, err)
	return s
}

// A book of a backup is shorter than what was seen: nothing is written until somebody answers for it.
func TestAnswer_BackupBroughtBack(t *testing.T) {
	out, ctx := t.TempDir(), context.Background()
	text := bookOf(t, out)
	lines := bytes.SplitAfter(text, []byte{'\n'})
	require.NoError(t, os.WriteFile(filepath.Join(out, record.BookFile), bytes.Join(lines[:len(lines)-4], nil), 0o644))
	s := reopen(t, out)
	_, err := s.Intake(ctx, record.Note{Time: noon, Serial: "B"})
	require.ErrorIs(t, err, record.ErrShorter)
	lost, err := s.AnswerDamage(ctx, "Kim", noon)
	require.NoError(t, err)
	require.Len(t, lost, 3)
	_, err = s.Intake(ctx, record.Note{Time: noon, Serial: "B"})
	require.NoError(t, err)
	require.NoError(t, s.Close())

	require.NoError(t, os.RemoveAll(out)) // all of it thrown away: a new book can begin, and says so
	s = reopen(t, out)
	_, err = s.Intake(ctx, record.Note{Time: noon, Serial: "C"})
	require.ErrorIs(t, err, record.ErrShorter)
	_, err = s.AnswerDamage(ctx, "Kim", noon)
	require.NoError(t, err)
	_, err = s.Intake(ctx, record.Note{Time: noon, Serial: "C"})
	require.NoError(t, err)
	require.NoError(t, s.Close())
	b, err := record.ReadBook(out)
	require.NoError(t, err)
	require.Contains(t, b.Notes(record.NoteDamage)[0].Remark, "is gone")
}

func TestSerial(t *testing.T) {
	for typed, want := range map[string]string{" HF-2041 ": "HF-2041", "A\u0308-1": "\u00c4-1", "序列号-1": "序列号-1", "№7/8": "№7/8"} {
		got, err := record.Serial(typed)
		require.NoError(t, err, "%q", typed)
		require.Equal(t, want, got)
	}
	for _, typed := range []string{"", " \t", "A\nB", "A\x1b[2J", "A\u200bB", "A\u202eB", "H\u0412-1", "ＨF-1", "A\u0301\u0301\u0301",
		"\u3164", strings.Repeat("9", 101), strings.Repeat("9", 10_000), "A\xff", "A\u00a0B"} {
		_, err := record.Serial(typed)
		require.ErrorIs(t, err, record.ErrSerial, "%q", typed)
	}
	require.True(t, record.SameSerial("hf-1", "HF-1 "))
	require.False(t, record.SameSerial("HF-1", "HF-l"))
}
