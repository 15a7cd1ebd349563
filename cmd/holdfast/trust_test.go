package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/disk"
	"holdfast/bench/record"
	"holdfast/bench/seal"
)

// failingPlan is quickPlan with a limit that no sound sensor keeps.
var failingPlan = strings.Replace(quickPlan, "{min: -1 bar, max: 1 bar}", "{min: 0.5 bar, max: 1 bar}", 1)

// shopFloor is a store with a unit in the shop and plans that its policy allows.
type shopFloor struct {
	t          *testing.T
	out        string
	pass, fail string // plans
}

func newShopFloor(t *testing.T) *shopFloor {
	t.Helper()
	s := &shopFloor{t, filepath.Join(t.TempDir(), "runs"), planText(t, quickPlan), planText(t, failingPlan)}
	s.must(exitDone, "intake", "--serial", "U-1")
	s.must(exitDone, "store", "policy", "--allow", s.pass, "--allow", s.fail, "--by", "K")
	return s
}

func (s *shopFloor) must(status int, args ...string) string {
	s.t.Helper()
	return must(s.t, status, append(args, "--out", s.out)...)
}

func (s *shopFloor) run(plan string, status int) (folder string) {
	s.t.Helper()
	before := s.folders()
	must(s.t, status, simRun(s.out, "U-1", plan)...)
	for _, f := range s.folders() {
		if !slices.Contains(before, f) {
			return f
		}
	}
	require.Fail(s.t, "no folder")
	return ""
}

func (s *shopFloor) folders() []string {
	found, err := filepath.Glob(filepath.Join(s.out, "*", record.JournalFile))
	require.NoError(s.t, err)
	for i := range found {
		found[i] = filepath.Dir(found[i])
	}
	return found
}

func (s *shopFloor) release(status int) string {
	s.t.Helper()
	return s.must(status, "release", "--serial", "U-1", "--by", "K", "--simulated")
}

// cut makes a run of a plan whose every step on the disk fails from the first one on that when names.
func (s *shopFloor) cut(plan string, when func(op disk.Op, path string) bool) (folder string) {
	s.t.Helper()
	before := s.folders()
	dead := false
	restore := disk.Inject(func(op disk.Op, path string) error {
		if dead = dead || when(op, path); dead {
			return errors.New("killed here")
		}
		return nil
	})
	_, _, _ = holdfast(simRun(s.out, "U-1", plan)...)
	restore()
	for _, f := range s.folders() {
		if !slices.Contains(before, f) {
			return f
		}
	}
	return ""
}

// atResult is the moment in which result.json appears.
func atResult(op disk.Op, path string) bool {
	return op == disk.OpFolder && disk.Exists(filepath.Join(path, record.ResultFile))
}

// A fail that is killed as its result appears: the older pass releases nothing, any command says it, recover puts it
// away, and then it is a fail.
func TestTrust_FailKilledAsItsResultAppears(t *testing.T) {
	s := newShopFloor(t)
	s.run(s.pass, exitDone)
	run := filepath.Base(s.cut(s.fail, atResult))
	require.Contains(t, s.release(exitFail), run)
	require.Contains(t, s.must(exitDone, "history"), "was cut off: the last pressure recorded was")
	require.Contains(t, s.must(exitFail, "store", "check"), run)
	require.Contains(t, s.must(exitDone, "recover"), "judged")
	require.Contains(t, s.must(exitDone, "recover"), "No interrupted run")
	require.Contains(t, s.release(exitFail), "is not a pass but fail")
	s.must(exitDone, "store", "check")
	s.run(s.pass, exitDone)
	s.release(exitDone)
	s.must(exitDone, "store", "check")
}

func (s *shopFloor) dropIndex() {
	for _, tail := range []string{"", "-wal", "-shm"} {
		_ = os.Remove(filepath.Join(s.out, record.IndexFile+tail))
	}
}

// The index deleted, empty, or put back from before a fail: it is made anew by itself, and nothing is decided from it.
func TestTrust_Index(t *testing.T) {
	s := newShopFloor(t)
	s.run(s.pass, exitDone)
	early := filepath.Join(t.TempDir(), "early.db")
	store, err := record.OpenOut(s.out)
	require.NoError(t, err)
	require.NoError(t, store.BackUp(context.Background(), early))
	require.NoError(t, store.Close())
	old, err := os.ReadFile(early)
	require.NoError(t, err)
	failed := filepath.Base(s.run(s.fail, exitFail))
	for name, index := range map[string][]byte{"deleted": nil, "put back": old} {
		s.dropIndex()
		if index != nil {
			require.NoError(t, os.WriteFile(filepath.Join(s.out, record.IndexFile), index, 0o644))
		}
		require.Contains(t, s.release(exitFail), failed, name)
		require.Contains(t, s.must(exitDone, "history"), failed, name)
		s.must(exitDone, "store", "check")
	}
}

// A journal whose identity was edited, its checksums made good, is not what the book opened.
func TestTrust_JournalOfSomethingElse(t *testing.T) {
	s := newShopFloor(t)
	folder := s.cut(s.pass, atResult)
	journal := filepath.Join(folder, record.JournalFile)
	text, err := os.ReadFile(journal)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(journal, bytes.Replace(text, []byte(`"Serial":"U-1"`), []byte(`"Serial":"U-2"`), 1), 0o644))
	_ = os.Remove(filepath.Join(folder, record.ResultFile))
	require.Contains(t, s.must(exitInternal, "recover"), "failed")
	require.NoFileExists(t, filepath.Join(folder, record.RunSeal+seal.StatementTail))
	s.release(exitFail)

	// Another run's whole journal, good in itself and signed by the same key.
	other := s.run(s.pass, exitDone)
	text, err = os.ReadFile(filepath.Join(other, record.JournalFile))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(journal, text, 0o644))
	require.Contains(t, s.must(exitInternal, "recover"), "not what the book opened")
}

// A key that lies among the records makes nothing true, and with --key nothing else is trusted.
func TestTrust_KeysAmongTheRecords(t *testing.T) {
	s := newShopFloor(t)
	mine, err := seal.UserRing()
	require.NoError(t, err)
	minePath := mine.PublicPath()
	theirs := &shopFloor{t, filepath.Join(t.TempDir(), "theirs"), s.pass, s.fail}
	config := os.Getenv("XDG_CONFIG_HOME")
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	run := theirs.run(s.pass, exitDone)
	ring, err := seal.UserRing()
	require.NoError(t, err)
	public, err := os.ReadFile(ring.PublicPath())
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(theirs.out, seal.PublicFile), public, 0o644))
	t.Setenv("XDG_CONFIG_HOME", config)
	require.Contains(t, theirs.must(exitFail, "verify", filepath.Base(run)), "NOT A KNOWN KEY")
	require.Contains(t, theirs.must(exitFail, "verify", filepath.Base(run), "--key", minePath), "NOT A KNOWN KEY")
	theirs.must(exitDone, "verify", filepath.Base(run), "--key", ring.PublicPath())
	require.Contains(t, theirs.must(exitFail, "store", "check"), "key that you do not trust")
}

// A second user whose key the book does not know is refused before anything moves, and may when let in.
func TestTrust_SecondUser(t *testing.T) {
	s := newShopFloor(t)
	first := os.Getenv("XDG_CONFIG_HOME")
	firstRing, err := seal.UserRing()
	require.NoError(t, err)
	second := t.TempDir()
	t.Setenv("XDG_CONFIG_HOME", second)
	before, err := os.ReadDir(s.out)
	require.NoError(t, err)
	said := must(t, exitUsage, simRun(s.out, "U-1", s.pass)...)
	require.Contains(t, said, "may not write in this book")
	require.NotContains(t, said, "step")
	after, err := os.ReadDir(s.out)
	require.NoError(t, err)
	require.Len(t, after, len(before), "nothing was begun")
	ring, err := seal.UserRing()
	require.NoError(t, err)
	t.Setenv("XDG_CONFIG_HOME", first)
	s.must(exitDone, "key", "admit", ring.PublicPath(), "--holder", "Sam")
	t.Setenv("XDG_CONFIG_HOME", second)
	must(t, exitDone, "key", "trust", firstRing.PublicPath())
	s.run(s.pass, exitDone)
	t.Setenv("XDG_CONFIG_HOME", first)
	s.release(exitDone)
	s.must(exitDone, "store", "check")
	require.Contains(t, s.must(exitDone, "key", "show"), "Sam")
	key, err := ring.Own()
	require.NoError(t, err)
	s.must(exitDone, "key", "revoke", seal.Fingerprint(key.Public()))
	t.Setenv("XDG_CONFIG_HOME", second)
	require.Contains(t, must(t, exitUsage, simRun(s.out, "U-1", s.pass)...), "may not write in this book")
}

// A certificate that is lost is written again only from the same sealed run.
func TestTrust_CertificateAgain(t *testing.T) {
	s := newShopFloor(t)
	run := s.run(s.pass, exitDone)
	s.release(exitDone)
	certificates := func() []string {
		found, err := filepath.Glob(filepath.Join(run, "certificate-*"))
		require.NoError(t, err)
		return found
	}
	given := certificates()
	require.Len(t, given, 4)
	page := slices.IndexFunc(given, func(p string) bool { return strings.HasSuffix(p, ".html") })
	first, err := os.ReadFile(given[page])
	require.NoError(t, err)
	for _, f := range given {
		require.NoError(t, os.Remove(f))
	}
	s.release(exitDone)
	again, err := os.ReadFile(given[page])
	require.NoError(t, err)
	require.Equal(t, string(first), string(again))
	s.must(exitDone, "verify", given[page])
	s.must(exitDone, "store", "check")

	for _, f := range given {
		require.NoError(t, os.Remove(f))
	}
	failed := s.cut(s.fail, func(disk.Op, string) bool { return false })
	text, err := os.ReadFile(filepath.Join(failed, record.JournalFile))
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(run, record.JournalFile), text, 0o644))
	require.Contains(t, s.release(exitFail), "cannot be trusted")
	require.Empty(t, certificates())
}

// A certificate is written before the visit is booked; killed between the two, the unit is still in the shop.
func TestTrust_KilledAtTheCertificate(t *testing.T) {
	for _, at := range []string{".html", ".pdf", seal.StatementTail, seal.SignatureTail, record.BookFile} {
		s := newShopFloor(t)
		s.run(s.pass, exitDone)
		dead, begun := false, false
		restore := disk.Inject(func(op disk.Op, path string) error {
			begun = begun || strings.Contains(filepath.Base(path), record.CertificatePrefix)
			if dead = dead || begun && strings.HasSuffix(path, at) && op == disk.OpWrite ||
				begun && op == disk.OpRename && strings.HasSuffix(path, at); dead {
				return errors.New("killed here")
			}
			return nil
		})
		status, _, _ := holdfast("release", "--serial", "U-1", "--by", "K", "--simulated", "--out", s.out)
		restore()
		require.NotEqual(t, exitDone, status, at)
		require.Contains(t, s.must(exitDone, "history", "--in-shop"), "U-1", at)
		s.release(exitDone)
		s.must(exitDone, "store", "check")
	}
}

// A failed run's folder deleted and the index made anew, its booked line cut off, content in another's place.
func TestTrust_FoldersAndBook(t *testing.T) {
	s := newShopFloor(t)
	passed := s.run(s.pass, exitDone)
	failed := s.run(s.fail, exitFail)
	require.NoError(t, os.RemoveAll(failed))
	s.must(exitDone, "history", "--reindex")
	require.Contains(t, s.must(exitFail, "store", "check"), filepath.Base(failed)+": its folder is gone")
	require.Contains(t, s.release(exitFail), filepath.Base(failed))

	require.NoError(t, os.CopyFS(failed, os.DirFS(passed)))
	require.Contains(t, s.must(exitFail, "verify", filepath.Base(failed)), "MISPLACED")
	require.Contains(t, s.must(exitFail, "store", "check"), filepath.Base(failed))
	require.NoError(t, os.RemoveAll(failed))

	// The last lines of the book cut off, together with the folder and the index.
	book := filepath.Join(s.out, record.BookFile)
	text, err := os.ReadFile(book)
	require.NoError(t, err)
	lines := bytes.SplitAfter(text, []byte{'\n'})
	require.NoError(t, os.WriteFile(book, bytes.Join(lines[:len(lines)-3], nil), 0o644))
	s.dropIndex()
	require.Contains(t, s.release(exitFail), "cut off")
	require.Contains(t, s.must(exitFail, "store", "check"), "cut off")
	require.Contains(t, must(t, exitUsage, simRun(s.out, "U-1", s.pass)...), "cut off")
	require.NoError(t, os.Remove(book))
	s.dropIndex()
	require.Contains(t, s.release(exitFail), "it is gone")

	// An entry taken out of the middle: nothing is released until somebody answers for it.
	require.NoError(t, os.WriteFile(book, bytes.Join(slices.Delete(slices.Clone(lines), 3, 5), nil), 0o644))
	s.dropIndex()
	require.Contains(t, s.must(exitFail, "store", "check"), "missing")
	require.Contains(t, s.release(exitFail), "the book was changed")
}

// A scenario of one's own that is called release, with limits that everything keeps, releases nothing.
func TestTrust_OwnScenarioCalledRelease(t *testing.T) {
	s := newShopFloor(t)
	s.run(planText(t, strings.Replace(quickPlan, "name: quick", "name: release", 1)), exitDone)
	require.Contains(t, s.release(exitFail), "releases no unit")
}

// A name with characters that the certificate's font lacks neither ends the program nor disappears from the page.
func TestTrust_NamesTheFontLacks(t *testing.T) {
	s := newShopFloor(t)
	run := s.run(s.pass, exitDone)
	s.must(exitDone, "release", "--serial", "u-1", "--by", "王小明 \U0001F527\uFFFF", "--simulated")
	found, err := filepath.Glob(filepath.Join(run, "certificate-*.pdf"))
	require.NoError(t, err)
	require.Len(t, found, 1)
}

// What is no plain file in the place of one is refused at once.
func TestTrust_PipesLinksAndKeys(t *testing.T) {
	s := newShopFloor(t)
	run := s.run(s.pass, exitDone)
	pipe := func(path string) {
		require.NoError(t, os.Remove(path))
		require.NoError(t, syscall.Mkfifo(path, 0o644))
	}
	pipe(filepath.Join(run, record.RunSeal+seal.StatementTail))
	require.Contains(t, s.must(exitFail, "verify", filepath.Base(run)), "no plain file")
	s.release(exitFail)
	s.must(exitFail, "store", "check")
	pipe(filepath.Join(s.out, record.BookFile))
	for _, args := range [][]string{{"history"}, {"store", "check"}, {"verify", filepath.Base(run)},
		{"release", "--serial", "U-1", "--by", "K"}, simRun(s.out, "U-1", s.pass), {"recover"}} {
		status, said, errSaid := holdfast(append(args, "--out", s.out)...)
		require.NotEqual(t, exitDone, status, args)
		require.Contains(t, said+errSaid, "no plain file", args)
	}

	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	ring, err := seal.UserRing()
	require.NoError(t, err)
	_, err = ring.Own()
	require.NoError(t, err)
	public, err := os.ReadFile(ring.PublicPath())
	require.NoError(t, err)
	for i := range 9_990 {
		require.NoError(t, os.WriteFile(filepath.Join(ring.Dir(), fmt.Sprintf("signing-%d.pub", i)), public, 0o644))
	}
	out := filepath.Join(t.TempDir(), "other")
	require.Contains(t, must(t, exitUsage, simRun(out, "U-1", s.pass)...), "public keys")
	t.Setenv("XDG_CONFIG_HOME", t.TempDir())
	ring, err = seal.UserRing()
	require.NoError(t, err)
	_, err = ring.Own()
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(ring.Dir(), seal.KeyFile), []byte("no key"), 0o600))
	said := must(t, exitUsage, simRun(filepath.Join(t.TempDir(), "third"), "U-1", s.pass)...)
	require.Contains(t, said, "no PEM file")
	require.NotContains(t, said, "step")
}
