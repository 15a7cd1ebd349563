package main

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/disk"
	"holdfast/bench/record"
)

// interruptedRun leaves the record of a bad unit as a power cut would, late in the run: by then the leak is
// measured and the whole run would have failed with a cause.
func interruptedRun(t *testing.T, out string) (run string) {
	t.Helper()
	cut := false
	restore := disk.Inject(func(_ disk.Op, path string) error {
		if cut = cut || strings.HasPrefix(path, out) && filepath.Base(path) == record.ResultFile; cut {
			return errors.New("the power is gone")
		}
		return nil
	})
	defer restore()
	status, _, errOut := holdfast("run", "release", "--rig", "bench-node", "--bus", "sim", "--serial", "HF-CUT", "--yes",
		"--out", out, "--fault", "membrane-split=0.6")
	restore()
	require.Equal(t, exitFail, status, errOut)
	folders, err := filepath.Glob(filepath.Join(out, "*", record.JournalFile))
	require.NoError(t, err)
	require.Len(t, folders, 1)
	info, err := os.Stat(folders[0])
	require.NoError(t, err)
	require.NoError(t, os.Truncate(folders[0], info.Size()*9/10))
	dir := filepath.Dir(folders[0])
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		if e.Name() != record.JournalFile && e.Name() != record.FramesFile {
			require.NoError(t, os.RemoveAll(filepath.Join(dir, e.Name())))
		}
	}
	return dir
}

// TestInterrupted_SaysNothingOfTheUnit: whoever shows or judges the record of a run that was cut off names
// no cause and no verdict, neither on the unit nor on a characteristic.
func TestInterrupted_SaysNothingOfTheUnit(t *testing.T) {
	out := filepath.Join(t.TempDir(), "runs")
	dir := interruptedRun(t, out)
	page, xml := filepath.Join(t.TempDir(), "page.html"), filepath.Join(t.TempDir(), "page.xml")
	check := func(t *testing.T, text string) {
		t.Helper()
		// What is said of the bench's instruments is not said of the unit.
		lower := strings.NewReplacer(`"broken": false`, "", "(broken from 4)", "").Replace(strings.ToLower(text))
		for _, word := range []string{"membrane split", "pump head", "most likely", "open first", `"verdict": "fail"`, `"verdict": "pass"`,
			"broken"} {
			require.False(t, strings.Contains(lower, word), "%q in\n%s", word, text)
		}
		require.Contains(t, lower, "interrupted")
	}
	t.Run("report", func(t *testing.T) {
		status, shown, errOut := holdfast("report", dir, "--html", page, "--junit", xml, "--out", out)
		require.Equal(t, exitDone, status, errOut)
		check(t, shown)
		require.Contains(t, shown, "Not known to be safe to open")
		for _, file := range []string{page, xml} {
			text, err := os.ReadFile(file)
			require.NoError(t, err)
			check(t, string(text))
		}
		_, shown, _ = holdfast("report", dir, "--json", "--out", out)
		check(t, shown)
		require.Contains(t, shown, `"causes": []`)
		require.Contains(t, shown, `"leak_rate"`, "the numbers stay")
	})
	t.Run("grade", func(t *testing.T) {
		_, shown, errOut := holdfast("grade", dir, "--out", out)
		check(t, shown+errOut)
	})
	t.Run("recover", func(t *testing.T) {
		status, shown, errOut := holdfast("recover", "--out", out)
		require.Equal(t, exitDone, status, errOut)
		check(t, shown)
		for _, file := range []string{record.ResultFile, record.ReportFile, record.JUnitFile} {
			text, err := os.ReadFile(filepath.Join(dir, file))
			require.NoError(t, err)
			check(t, string(text))
		}
	})
	t.Run("release", func(t *testing.T) {
		status, shown, errOut := holdfast("release", "--serial", "HF-CUT", "--by", "K. Example", "--simulated", "--out", out)
		require.NotEqual(t, exitDone, status, "nothing is let go on half a test")
		require.NotContains(t, strings.ToLower(shown+errOut), "membrane split")
		found, err := filepath.Glob(filepath.Join(dir, "certificate*"))
		require.NoError(t, err)
		require.Empty(t, found)
	})
	t.Run("history", func(t *testing.T) {
		_, shown, errOut := holdfast("history", "HF-CUT", "--out", out)
		check(t, strings.ReplaceAll(shown+errOut, "most likely", "")) // the heading of a column
	})
}
