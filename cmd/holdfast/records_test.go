package main

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/record"
)

// runOn runs the release test on the simulated bench and returns the run's id.
func runOn(t *testing.T, out, serial string, status int, more ...string) string {
	t.Helper()
	text := must(t, status, append([]string{"run", "release", "--rig", "bench-node", "--bus", "sim",
		"--serial", serial,
		"--yes", "--out", out}, more...)...)
	return filepath.Base(regexp.MustCompile(`record: (.*)`).FindStringSubmatch(text)[1])
}

// A unit comes in, fails, is stripped and rebuilt, passes, goes out; then its history and the comparison.
func TestRoundTrip(t *testing.T) {
	out := t.TempDir()
	flag := []string{"--out", out}
	do := func(status int, args ...string) string { return must(t, status, append(args, flag...)...) }

	require.Contains(t, do(exitDone, "intake", "--serial", "HF-9", "--hours", "18400", "--complaint",
		"no pressure", "--fault", "4334/18/3"),
		"opened visit V0001")
	require.Contains(t, do(exitDone, "intake", "--serial", "HF-9", "--owner", "job 17"),
		"added to visit V0001")
	require.Contains(t, do(exitFail, "release", "--serial", "HF-9", "--by", "Kim"), "no run since visit V0001")
	failed := runOn(t, out, "HF-9", exitFail, "--fault", "membrane-split=0.6")
	require.Contains(t, do(exitFail, "release", "--serial", "HF-9", "--by", "Kim"), "is not a pass but fail")
	require.Contains(t, do(exitUsage, "found", "membrane-splt", "--serial", "HF-9"),
		"did you mean membrane-split?")
	require.Contains(t, do(exitUsage, "found", "other", "--serial", "HF-9"), "--note")
	do(exitDone, "found", "membrane-split", "--serial", "HF-9", "--note", "split at the clamp", "--part",
		"membrane")
	passed := runOn(t, out, "HF-9", exitDone, "--seed", "7")
	require.Contains(t, do(exitFail, "release", "--serial", "HF-9", "--by", "Kim"), "no real unit was tested")
	released := do(exitDone, "release", "--serial", "HF-9", "--by", "Kim", "--simulated")
	require.Contains(t, released, "released HF-9 on run "+passed)
	require.Contains(t, do(exitUsage, "release", "--serial", "HF-9", "--by", "Kim", "--simulated"),
		"no open visit")

	pdf := regexp.MustCompile(`\S*\.pdf`).FindString(released)
	printed, err := os.ReadFile(pdf)
	require.NoError(t, err)
	require.NoError(t, os.Remove(pdf))
	require.Contains(t, do(exitDone, "release", "--serial", "HF-9", "--by", "Sam", "--simulated"), "certificate C0001-")
	again, err := os.ReadFile(pdf)
	require.NoError(t, err)
	require.Equal(t, printed, again, "a lost certificate is printed again, to the same bytes")

	history := do(exitDone, "history", "HF-9")
	for _, words := range []string{"no pressure", "job 17", "SPN 4334 FMI 18, 3 times", "split at the clamp",
		"membrane",
		"by Kim on run " + passed, "certificate C0001-", failed} {
		require.Contains(t, history, words)
	}
	compared := do(exitDone, "compare", failed, passed)
	require.Regexp(t, `\* leak_rate .*fail -> pass`, compared)
	require.Contains(t, do(exitDone, "trend", "leak_rate", "--simulated"), "2 values")
	require.Contains(t, do(exitUsage, "trend", "leak_rat", "--simulated"), "did you mean leak_rate?")
	require.Contains(t, do(exitDone, "causes", "--simulated"), "named first: 1 of 1")
	require.Contains(t, do(exitDone, "history", "--in-shop"), "no unit is in the shop")
	require.Contains(t, do(exitDone, "store", "check"), "2 runs, 2 unchanged; 0 WRONG")
	require.Contains(t, do(exitDone, "store", "instruments"), "reference_pressure")
	tamper(t, out, failed, released)
}

// tamper changes a record and its certificate in every file, and has each change found and named.
func tamper(t *testing.T, out, failed, released string) {
	pages := regexp.MustCompile(`\S*certificate-\S*`).FindAllString(released, -1)
	require.Len(t, pages, 2)
	for _, page := range pages {
		require.Contains(t, must(t, exitDone, "verify", page, "--out", out), "is as it was given out")
		text, err := os.ReadFile(page)
		require.NoError(t, err)
		copied := filepath.Join(t.TempDir(), filepath.Base(page))
		text[len(text)/2] ^= 1
		require.NoError(t, os.WriteFile(copied, text, 0o644))
		require.Contains(t, must(t, exitFail, "verify", copied, "--out", out),
			"IS NOT one that was given out")
	}
	entries, err := os.ReadDir(filepath.Join(out, failed))
	require.NoError(t, err)
	for _, e := range entries {
		path := filepath.Join(out, failed, e.Name())
		text, err := os.ReadFile(path)
		require.NoError(t, err)
		changed := bytes.Clone(text)
		changed[len(changed)/2] ^= 1
		require.NoError(t, os.WriteFile(path, changed, 0o644))
		said := must(t, exitFail, "verify", failed, "--out", out)
		if !strings.Contains(e.Name(), "seal") {
			require.Regexp(t, regexp.QuoteMeta(e.Name())+` +CHANGED between byte`, said)
		}
		require.NoError(t, os.WriteFile(path, text, 0o644))
	}
	require.NoError(t, os.WriteFile(filepath.Join(out, failed, "note.txt"), []byte("x"), 0o644))
	require.Contains(t, must(t, exitDone, "verify", failed, "--out", out), "not under any seal")
}

// Judging again gives the same bytes; by other limits it gives a judgement beside the old one.
func TestGrade(t *testing.T) {
	out := t.TempDir()
	run := runOn(t, out, "HF-3", exitDone)
	require.Contains(t, must(t, exitDone, "grade", run, "--out", out), "the same as on record, byte for byte")
	before, err := os.ReadFile(filepath.Join(out, run, record.ResultFile))
	require.NoError(t, err)
	text, err := os.ReadFile("../../scenarios/release.yaml")
	require.NoError(t, err)
	tight := filepath.Join(t.TempDir(), "tight.yaml")
	limited := bytes.Replace(text, []byte("leak_rate: {max: 1.0 mL/min}"),
		[]byte("leak_rate: {max: 0.01 mL/min}"), 1)
	require.NotEqual(t, text, limited)
	require.NoError(t, os.WriteFile(tight, limited, 0o644))
	require.Contains(t, must(t, exitUsage, "grade", run, "--out", out, "--scenario", tight), "--why")
	said := must(t, exitFail, "grade", run, "--out", out, "--scenario", tight, "--why", "tighter", "--by",
		"Kim")
	require.Contains(t, said, "judgement-2.json")
	after, err := os.ReadFile(filepath.Join(out, run, record.ResultFile))
	require.NoError(t, err)
	require.Equal(t, string(before), string(after), "the first judgement is never written over")
	require.Contains(t, must(t, exitDone, "verify", run, "--out", out), "judgement-2.json")
	require.Contains(t, must(t, exitDone, "history", "HF-3", "--out", out), "judgement 2")
	require.Contains(t, must(t, exitDone, "history", "HF-3", "--reindex", "--out", out),
		"by Kim: fail (tighter)")
	var kept record.Judgement
	text, err = os.ReadFile(filepath.Join(out, run, "judgement-2.json"))
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &kept))
	require.Equal(t, []string{"Kim", "tighter"}, []string{kept.By, kept.Why})
	require.Contains(t, string(kept.Result), `"verdict": "fail"`)
}

// Adopted frequencies move the causes of later runs, which say so; earlier runs stay as they were.
func TestCauses_Adopt(t *testing.T) {
	out := t.TempDir()
	before := runOn(t, out, "HF-4", exitFail, "--fault", "membrane-split=0.6")
	must(t, exitUsage, "causes", "--adopt", "--out", out)
	must(t, exitDone, "intake", "--serial", "HF-4", "--out", out)
	must(t, exitDone, "found", "pump-worn", "--serial", "HF-4", "--out", out)
	require.Contains(t, must(t, exitDone, "causes", "--adopt", "--by", "Kim", "--out", out), "adopted on")
	after := runOn(t, out, "HF-4", exitFail, "--fault", "membrane-split=0.6")
	require.Contains(t, must(t, exitDone, "report", after, "--out", out), "this shop's own frequencies")
	require.NotContains(t, must(t, exitDone, "report", before, "--out", out), "this shop's own frequencies")
	require.Contains(t, must(t, exitFail, "grade", after, "--out", out), "byte for byte",
		"the priors are in the record")
}

// What was backed up comes back, and a backup that differs is refused.
func TestStore_BackupAndRestore(t *testing.T) {
	out, dir := t.TempDir(), t.TempDir()
	copied, back := filepath.Join(dir, "copy"), filepath.Join(dir, "back")
	run := runOn(t, out, "HF-5", exitDone)
	must(t, exitDone, "intake", "--serial", "HF-5", "--out", out)
	require.Contains(t, must(t, exitDone, "store", "backup", copied, "--out", out),
		"1 runs copied, 0 there already")
	require.Contains(t, must(t, exitDone, "store", "backup", copied, "--out", out),
		"0 runs copied, 1 there already")
	require.NoFileExists(t, filepath.Join(copied, "signing.key"))
	require.Contains(t, must(t, exitDone, "store", "restore", copied, "--out", back),
		"1 units, 1 visits, 1 runs")
	require.Contains(t, must(t, exitDone, "verify", run, "--out", back), "Nothing was changed")
	require.Contains(t, must(t, exitUsage, "store", "restore", copied, "--out", out), "not empty")
	later := runOn(t, back, "HF-6", exitDone) // a new key is made: the earlier one stays known
	for _, r := range []string{run, later} {
		require.Contains(t, must(t, exitDone, "verify", r, "--out", back), "Nothing was changed", r)
	}
	require.NoError(t, os.WriteFile(filepath.Join(copied, run, record.ResultFile), []byte("{}"), 0o644))
	require.Contains(t, must(t, exitUsage, "store", "backup", copied, "--out", out),
		"one of them was changed")
}

// Codes are read from a recording as the decoder reads them.
func TestIntake_FaultsFromARecording(t *testing.T) {
	file := filepath.Join(t.TempDir(), "key-on.log")
	// DM1 of address 61: SPN 4334 FMI 18, three times (SAE J1939-73, conversion method 4).
	require.NoError(t, os.WriteFile(file,
		[]byte("(1.0) can0 18FECA3D#0400EE1012030000\n(2.0) can0 18FECA3D#0400EE1012030000\n"), 0o644))
	said := must(t, exitDone, "intake", "--serial", "A", "--faults-from", file, "--out", t.TempDir())
	require.Contains(t, said, "SPN 4334 FMI 18, active, 3 times, from address 61")
	require.Equal(t, 1, strings.Count(said, "SPN 4334"))
	require.Contains(t, must(t, exitUsage, "intake", "--serial", "A", "--fault", "4334", "--out",
		t.TempDir()), "SPN/FMI")
	require.Contains(t, must(t, exitUsage, "intake", "--serial", "A", "--fault", "600000/1", "--out",
		t.TempDir()), "524287")
}

// Whatever a person types comes back as text that moves no cursor, and nothing is written outside the folder.
func TestRecords_HostileText(t *testing.T) {
	dir := t.TempDir()
	out := filepath.Join(dir, "out")
	evil := "../../x\x1b[2J\u202e\n\"; DROP TABLE visits; --"
	for _, args := range [][]string{
		{"intake", "--serial", "X-1", "--complaint", evil, "--owner", evil, "--kind", evil, "--part", evil, "--by", evil},
		{"found", "other", "--serial", "x-1", "--note", evil, "--by", evil},
		{"history", evil}, {"intake", "--serial", evil}, {"history", "--in-shop"}, {"release", "--serial", evil, "--by", evil},
		{"release", "--serial", evil + "2", "--by", evil}, {"trend", evil}, {"verify", evil}, {"compare", evil, evil},
		{"store", "shop", "--name", evil, "--address", evil}, {"causes", "--adopt", "--by", evil},
		{"export", "--to", filepath.Join(dir, "tables"), "--serial", evil}, {"grade", evil}, {"found", evil, "--serial", evil},
	} {
		_, said, errSaid := holdfast(append(args, "--out", out)...)
		require.NotContains(t, said, "\x1b", "%q", args)
		require.NotContains(t, said, "\u202e", "%q", args)
		require.NotContains(t, errSaid, "\x1b", "%q", args)
	}
	entries, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, e := range entries {
		require.Contains(t, []string{"out", "tables"}, e.Name())
	}
	require.Contains(t, must(t, exitDone, "history", "--in-shop", "--out", out), "V0001")
}
