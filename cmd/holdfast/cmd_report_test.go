package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/record"
)

// A run is found again, shown again and judged again to the same bytes from its record alone.
func TestReportAndHistory(t *testing.T) {
	out := filepath.Join(t.TempDir(), "runs")
	for serial, want := range map[string]int{"HF-1": exitDone, "HF/2": exitFail} {
		args := []string{"run", "release", "--rig", "bench-node", "--bus", "sim", "--serial", serial, "--yes",
			"--out", out}
		if want == exitFail {
			args = append(args, "--fault", "membrane-split=0.6")
		}
		status, _, errOut := holdfast(args...)
		require.Equal(t, want, status, errOut)
	}
	status, listed, _ := holdfast("history", "--json", "--out", out)
	require.Equal(t, exitDone, status)
	var runs []record.Run
	require.NoError(t, json.Unmarshal([]byte(listed), &runs))
	require.Len(t, runs, 2)
	for _, r := range runs {
		kept, err := os.ReadFile(filepath.Join(r.Folder, record.ResultFile))
		require.NoError(t, err)
		status, again, errOut := holdfast("report", r.ID, "--json", "--out", out)
		require.Equal(t, exitDone, status, errOut)
		require.Equal(t, string(kept), again, "judged from the journal to the same bytes")
	}

	page := filepath.Join(t.TempDir(), "page.html")
	status, shown, _ := holdfast("report", runs[0].Folder, "--html", page)
	require.Equal(t, exitDone, status)
	require.Contains(t, shown, strings.ToUpper(runs[0].Verdict))
	require.FileExists(t, page)

	status, shown, _ = holdfast("history", "HF/2", "--out", out)
	require.Equal(t, exitDone, status)
	require.Contains(t, shown, "pump membrane split")
	require.NotContains(t, shown, "HF-1")

	require.NoError(t, os.Remove(filepath.Join(out, record.IndexFile)))
	status, anew, _ := holdfast("history", "--json", "--out", out)
	require.Equal(t, exitDone, status)
	require.Equal(t, listed, anew, "the folders are the truth")
}

func TestReportAndHistory_NothingThere(t *testing.T) {
	out := filepath.Join(t.TempDir(), "none")
	status, shown, _ := holdfast("history", "--out", out)
	require.Equal(t, exitDone, status)
	require.Contains(t, shown, "no such run")
	require.NoDirExists(t, out, "asking makes nothing")
	status, _, errOut := holdfast("report", "2026", "--out", out)
	require.Equal(t, exitUsage, status)
	require.Contains(t, errOut, "no run")
}
