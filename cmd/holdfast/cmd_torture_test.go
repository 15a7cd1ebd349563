package main

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"
)

func torment(t *testing.T, args ...string) (string, int) {
	t.Helper()
	status, out, errOut := holdfast(append([]string{"torture"}, args...)...)
	if status == exitDone {
		return out, status // the progress beside it goes by the clock on the wall
	}
	return out + errOut, status
}

func TestTorture_SameSeedsSameSummary(t *testing.T) {
	seeds := "20"
	if testing.Short() {
		seeds = "4"
	}
	first, status := torment(t, "--seeds", seeds, "--from", "7", "--jobs", "1")
	require.Equal(t, exitDone, status, first)
	second, _ := torment(t, "--seeds", seeds, "--from", "7", "--jobs", "2")
	require.Equal(t, first, second)
	require.Contains(t, first, "0 broken checkers")
	other, _ := torment(t, "--seeds", seeds, "--from", "8")
	require.NotEqual(t, first, other)
}

func TestTorture_JSON(t *testing.T) {
	text, status := torment(t, "--seeds", "5", "--json")
	require.Equal(t, exitDone, status)
	var summary struct {
		Seeds  int
		Broken []struct{ Seed uint64 }
	}
	require.NoError(t, json.Unmarshal([]byte(text), &summary))
	require.Equal(t, 5, summary.Seeds)
	require.Empty(t, summary.Broken)
}

func TestTorture_BadFlags(t *testing.T) {
	for _, args := range [][]string{{"--seeds", "0"}, {"--jobs", "-1"}, {"--from", "x"}, {"extra"}} {
		_, status := torment(t, args...)
		require.Equal(t, exitUsage, status, "%v", args)
	}
}
