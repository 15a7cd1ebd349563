package main

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"testing"

	"holdfast/bench/shop"

	"github.com/stretchr/testify/require"
)

// The whole way: vehicle before, bench, release, vehicle after; then the history, the certificate, the
// comparison, and a changed byte.
func TestWatch_AttachToVisit(t *testing.T) {
	out, dir := t.TempDir(), t.TempDir()
	bad, good := filepath.Join(dir, "before.pcapng"), filepath.Join(dir, "after.pcapng")
	must(t, exitDone, "sim", "vehicle", "--write", bad, "--alone", "--legs", "14m+3m,12m+3m", "--fault", "purge-cut=1")
	must(t, exitDone, "sim", "vehicle", "--write", good, "--alone", "--legs", "14m+3m")
	do := func(status int, args ...string) string {
		t.Helper()
		return must(t, status, append(args, "--out", out)...)
	}
	require.Contains(t, do(exitUsage, "watch", bad, "--attach", "before"), "--serial belong together")
	require.Contains(t, do(exitUsage, "watch", bad, "--attach", "meanwhile", "--serial", "HF-7"), "before (the unit")
	require.Contains(t, do(exitUsage, "watch", bad, "--attach", "before", "--serial", "HF-7"), "holdfast intake opens")
	do(exitDone, "intake", "--serial", "HF-7")
	require.Contains(t, do(exitUsage, "watch", bad, good, "--attach", "before", "--serial", "HF-7"), "one recording")
	require.Contains(t, do(exitDone, "watch", bad, "--attach", "before", "--serial", "HF-7", "--by", "Kim"),
		"attached to visit V0001 of HF-7: vehicle before, watch")
	runOn(t, out, "HF-7", exitFail, "--fault", "membrane-split=0.6")
	passed := runOn(t, out, "HF-7", exitDone)
	released := do(exitDone, "release", "--serial", "HF-7", "--by", "Kim", "--simulated")
	page, err := os.ReadFile(regexp.MustCompile(`\S*\.html`).FindString(released))
	require.NoError(t, err)
	require.Regexp(t, `listened to on 2026-11-24 before the unit was taken out[^<]*No verdict is drawn from it`, string(page))
	do(exitDone, "watch", good, "--attach", "after", "--serial", "HF-7")

	history := do(exitDone, "history", "HF-7")
	require.Regexp(t, `vehicle before +WATCH: after-run purge \(2026-11-24 08:00 from \S*before.pcapng by Kim`, history)
	require.Regexp(t, `vehicle after +OK`, history)
	require.NotContains(t, history, "purge begins")
	require.Regexp(t, `vehicle before, visit V0001\n(?s:.*)watch  purge cut short: the bus went silent(?s:.*)vehicle after`,
		do(exitDone, "history", "HF-7", "--events"))
	compared := do(exitDone, "compare", "HF-7")
	require.Regexp(t, `overall +watch +fail +pass +ok`, compared)
	require.Regexp(t, `purge after use +- +1 of 2 completed, 1 CUT SHORT +- +- +1 of 1 completed`, compared)
	require.Regexp(t, `\* leak_rate .*fail -> pass`, compared)
	var all shop.Through
	require.NoError(t, json.Unmarshal([]byte(do(exitDone, "compare", "HF-7", "--json")), &all))
	require.Equal(t, passed, all.Occasions[2])
	require.Contains(t, do(exitUsage, "compare", "HF-7", "--visit", "V0009"), "no such visit")
	require.Contains(t, do(exitUsage, "compare", "nobody"), "no open visit")

	require.Contains(t, do(exitDone, "store", "check"), "vehicle checks: 2 unchanged, 0 WRONG")
	summary := filepath.Join(out, all.Occasions[0], "summary.json")
	text, err := os.ReadFile(summary)
	require.NoError(t, err)
	text[len(text)/2] ^= 1
	require.NoError(t, os.WriteFile(summary, text, 0o644))
	require.Regexp(t, `summary.json is .*\n.*1 unchanged, 1 WRONG`, do(exitFail, "store", "check"))
}
