package record_test

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdfast/bench/record"
)

func TestNewFolder_Names(t *testing.T) {
	for serial, want := range map[string]string{
		"DEMO-1":                  "20260304T120000Z-DEMO-1",
		"":                        "20260304T120000Z-no-serial",
		"../../etc/passwd":        "20260304T120000Z-_etc_passwd",
		"a\x00b\nc":               "20260304T120000Z-a_b_c",
		"...":                     "20260304T120000Z-_",
		"Nr. 7/8":                 "20260304T120000Z-Nr._7_8",
		"öäü":                     "20260304T120000Z-_",
		strings.Repeat("9", 1e6):  "20260304T120000Z-" + strings.Repeat("9", 40),
		strings.Repeat("/", 1000): "20260304T120000Z-_",
	} {
		f, err := record.NewFolder(t.TempDir(), serial, noon)
		require.NoError(t, err)
		require.Equal(t, want, f.Run)
		require.Equal(t, want, filepath.Base(f.Path))
		require.DirExists(t, f.Path)
	}
}

// Whatever the serial, exactly one folder appears and it lies in the out folder.
func TestNewFolder_NeverLeavesOut(t *testing.T) {
	dir := t.TempDir()
	out, n := filepath.Join(dir, "out"), 0
	rapid.Check(t, func(t *rapid.T) {
		f, err := record.NewFolder(out, rapid.OneOf(rapid.String(), rapid.StringMatching(`[./\\]{0,9}`)).Draw(t, "serial"), noon)
		require.NoError(t, err)
		n++
		require.Equal(t, out, filepath.Dir(f.Path))
		entries, err := os.ReadDir(out)
		require.NoError(t, err)
		require.Len(t, entries, n)
	})
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	require.Len(t, entries, 1)
}

func TestNewFolder_SameSecond(t *testing.T) {
	out := t.TempDir()
	for _, want := range []string{"20260304T120000Z-A", "20260304T120000Z-A-2", "20260304T120000Z-A-3"} {
		f, err := record.NewFolder(out, "A", noon)
		require.NoError(t, err)
		require.Equal(t, want, f.Run)
	}
}

func TestFolder_WriteIsWholeOrNothing(t *testing.T) {
	f, err := record.NewFolder(t.TempDir(), "A", noon)
	require.NoError(t, err)
	write := func(text string, end error) error {
		return f.Write(record.ResultFile, func(w io.Writer) error {
			_, err := io.WriteString(w, text)
			return errors.Join(err, end)
		})
	}
	require.NoError(t, write("one", nil))
	full := errors.New("disk full")
	require.ErrorIs(t, write("tw", full), full)
	b, err := os.ReadFile(f.Result())
	require.NoError(t, err)
	require.Equal(t, "one", string(b))
	entries, err := os.ReadDir(f.Path)
	require.NoError(t, err)
	require.Len(t, entries, 1, "nothing half written is left behind")
	require.Error(t, f.Write("../elsewhere", func(io.Writer) error { return nil }))
}

func TestResolve(t *testing.T) {
	out := t.TempDir()
	for _, name := range []string{"20260304T120000Z-A", "20260304T120000Z-A-2", "20260305T120000Z-B"} {
		require.NoError(t, os.MkdirAll(filepath.Join(out, name), 0o755))
		require.NoError(t, os.WriteFile(filepath.Join(out, name, record.JournalFile), nil, 0o644))
	}
	for ref, want := range map[string]string{
		"20260305":                               "20260305T120000Z-B",
		"20260304T120000Z-A":                     "20260304T120000Z-A",
		filepath.Join(out, "20260305T120000Z-B"): "20260305T120000Z-B",
	} {
		f, err := record.Resolve(out, ref)
		require.NoError(t, err, ref)
		require.Equal(t, want, f.Run)
	}
	_, err := record.Resolve(out, "20260304")
	require.ErrorIs(t, err, record.ErrManyRuns)
	for _, ref := range []string{"1999", ""} {
		_, err = record.Resolve(out, ref)
		require.ErrorIs(t, err, record.ErrNoRun)
	}
	_, err = record.Resolve(out, "./nothing")
	require.Error(t, err)
}

func TestDefaultOut(t *testing.T) {
	t.Setenv("XDG_DATA_HOME", "/data")
	t.Setenv("HOME", "/home/bench")
	got, err := record.DefaultOut()
	require.NoError(t, err)
	require.Equal(t, "/data/holdfast/runs", got)
	for _, ignored := range []string{"", "relative"} {
		t.Setenv("XDG_DATA_HOME", ignored)
		got, err = record.DefaultOut()
		require.NoError(t, err)
		require.Equal(t, "/home/bench/.local/share/holdfast/runs", got)
	}
}
