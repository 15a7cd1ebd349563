package main

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/record"
	"holdfast/j1939/clock"
)

// fence is a folder with a place for records in it, and a picture of all that is beside that place.
type fence struct {
	t    *testing.T
	root string
	out  string
	was  map[string]string
}

func newFence(t *testing.T) *fence {
	t.Helper()
	f := &fence{t: t, root: t.TempDir()}
	f.out = filepath.Join(f.root, "a", "b", "runs")
	require.NoError(t, os.MkdirAll(f.out, 0o755))
	for _, name := range []string{"evil", "a/evil", "a/b/evil"} {
		require.NoError(t, os.WriteFile(filepath.Join(f.root, name), []byte("as it was"), 0o644))
	}
	t.Setenv("XDG_DATA_HOME", filepath.Join(f.root, "data"))
	t.Setenv("HOME", filepath.Join(f.root, "home"))
	f.was = f.picture()
	return f
}

// picture is every file outside of the place for records with its text.
func (f *fence) picture() map[string]string {
	files := map[string]string{}
	require.NoError(f.t, filepath.WalkDir(f.root, func(path string, d fs.DirEntry, err error) error {
		if path == f.out {
			return fs.SkipDir
		}
		if err == nil && !d.IsDir() {
			text, _ := os.ReadFile(path)
			files[path] = string(text)
		}
		return err
	}))
	return files
}

// holds: nothing outside was made or changed.
func (f *fence) holds() {
	f.t.Helper()
	require.Equal(f.t, f.was, f.picture())
}

// limits of one hostile call: time, and memory that the garbage collector has to find.
const (
	hostileTime   = 5 * time.Second
	hostileMemory = 200 << 20
)

// call runs one command within its limits.
func call(t *testing.T, args ...string) (status int, said string) {
	t.Helper()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	began := time.Now()
	var out bytes.Buffer
	status = execute(t.Context(), args, strings.NewReader(""), &out, &out)
	require.Less(t, time.Since(began), hostileTime, "%.200q", args)
	runtime.ReadMemStats(&after)
	require.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(hostileMemory), "%.200q", args)
	require.NotContains(t, out.String(), "goroutine ", "a panic is no answer")
	return status, out.String()
}

func simRun(out, serial, plan string, more ...string) []string {
	return append([]string{"run", plan, "--rig", "bench-node", "--bus", "sim", "--yes",
		"--serial", serial, "--out", out}, more...)
}

// TestHostile_Serials: a serial is kept as it was typed or refused; it never chooses where a file goes, what
// a terminal does, or what a page runs.
func TestHostile_Serials(t *testing.T) {
	plan := planText(t, quickPlan)
	for name, serial := range map[string]string{
		"separators":        "../../../evil",
		"absolute":          "/etc/passwd",
		"backslashes":       `..\..\evil`,
		"dots":              "..",
		"script":            `<script>alert(1)</script>`,
		"attribute":         `" onmouseover="alert(1)`,
		"formula":           `=cmd|'/C calc'!A0`,
		"right to left":     "HF\u202e1402",
		"not UTF-8":         "HF-\xff\xfe",
		"another script":    "序列号-2041",
		"quotes":            `'; DROP TABLE runs; --`,
		"percent":           "%s%n%x",
		"as long as it may": strings.Repeat("9", record.MaxSerial),
	} {
		t.Run(name, func(t *testing.T) {
			f := newFence(t)
			status, said := call(t, simRun(f.out, serial, plan)...)
			require.Contains(t, []int{exitDone, exitUsage, exitUndecided}, status, said)
			f.holds()
			if status == exitUsage {
				require.Contains(t, said, "--serial")
				return
			}
			requireHarmlessPage(t, f.out)
			_, shown := call(t, "history", "--out", f.out)
			requireNoControls(t, said+shown)
		})
	}
	for name, serial := range map[string]string{
		"control characters": "HF\x1b[2J\x07",
		"newline":            "HF\n2041",
		"10 MB":              strings.Repeat("A", 10<<20),
		"NUL":                "HF\x00",
		"nothing":            " \t ",
	} {
		t.Run(name, func(t *testing.T) {
			f := newFence(t)
			status, said := call(t, simRun(f.out, serial, plan)...)
			require.Equal(t, exitUsage, status)
			require.Contains(t, said, "--serial")
			require.Less(t, len(said), 1000)
			requireNoControls(t, said)
			f.holds()
			entries, err := os.ReadDir(f.out)
			require.NoError(t, err)
			require.Empty(t, entries, "nothing is begun")
		})
	}
}

const quickPlan = `holdfast: scenario/1
name: quick
title: <img src=x onerror=alert(1)> & "quoted"
decision_rule: guarded
limits_from: shipped examples
nominal: 9 bar
steps:
  - vent: {for: 2 s}
    name: <script>alert(2)</script>
  - relieve: {below: 0.2 bar, timeout: 30 s}
limits:
  sensor_zero: {min: -1 bar, max: 1 bar}
`

func planText(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "plan.yaml")
	require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
	return path
}

// requireHarmlessPage: what a person typed stands in the page as text.
func requireHarmlessPage(t *testing.T, out string) {
	t.Helper()
	found, err := filepath.Glob(filepath.Join(out, "*", record.ReportFile))
	require.NoError(t, err)
	require.Len(t, found, 1)
	text, err := os.ReadFile(found[0])
	require.NoError(t, err)
	for _, bad := range []string{"<script", "<img src=x", ` onmouseover="`, "javascript:"} {
		require.NotContains(t, strings.ToLower(string(text)), bad)
	}
	require.Contains(t, string(text), "&lt;img src=x onerror=alert(1)&gt;")
}

// requireNoControls: nothing that moves a terminal's cursor or turns its text round.
func requireNoControls(t *testing.T, said string) {
	t.Helper()
	for _, r := range said {
		if r < ' ' && r != '\n' && r != '\t' || r == 0x7f || r >= 0x80 && r < 0xa0 || r == '\u202e' {
			require.Fail(t, "a control character reaches the terminal", "%q", said)
		}
	}
}

// TestHostile_Numbers: a flag that is no number, or none that makes sense.
func TestHostile_Numbers(t *testing.T) {
	f := newFence(t)
	plan := planText(t, quickPlan)
	for _, more := range [][]string{
		{"--unit-hours", "NaN"}, {"--unit-hours", "Inf"}, {"--unit-hours", "-Inf"}, {"--unit-hours", "1e300"},
		{"--fault", "membrane-split=NaN"}, {"--fault", "membrane-split=Inf"}, {"--fault", "membrane-split=1e9"},
		{"--fault", "membrane-split=" + strings.Repeat("1", 1<<20)}, {"--seed", "-1"}, {"--seed", "1e3"},
	} {
		status, said := call(t, simRun(f.out, "X", plan, more...)...)
		require.Equal(t, exitUsage, status, "%.60q: %.300s", more, said)
		require.Less(t, len(said), 2000, "%.60q", more)
	}
	f.holds()
}

// TestHostile_Files: scenario, rig, database and recording that are not what they should be: a clear error,
// in bounded time and memory.
func TestHostile_Files(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
		return path
	}
	bomb := "a: &a [x,x,x,x,x,x,x,x,x]\n"
	for c := 'b'; c < 'm'; c++ {
		bomb += fmt.Sprintf("%c: &%c [%s]\n", c, c, strings.Repeat(fmt.Sprintf("*%c,", c-1), 9))
	}
	texts := map[string]string{
		"bomb.yaml": bomb, "deep.yaml": strings.Repeat("[", 100_000), "wide.yaml": strings.Repeat("a: 1\n", 200_000),
		"long.yaml": "name: " + strings.Repeat("x", 8<<20), "zeros.yaml": strings.Repeat("\x00", 1<<20),
		"merge.yaml": "x: &x {a: 1}\ny: {<<: *x}\n", "tag.yaml": "!!python/object/apply:os.system ['id']\n",
		"quotes.yaml": strings.Repeat(`"`, 50_001), "utf16.yaml": "\xff\xfeh\x00o\x00",
		"tabs.yaml": strings.Repeat("\t", 1<<16) + "x", "empty.yaml": "",
	}
	f := newFence(t)
	for name, text := range texts {
		path := write(name, text)
		for _, args := range [][]string{{"check", path, "--rig", "bench-node"}, {"check", "release", "--rig", path},
			{"run", path, "--rig", "bench-node", "--bus", "sim", "--serial", "X", "--yes", "--out", f.out}} {
			status, said := call(t, args...)
			require.Equal(t, exitUsage, status, "%s: %.300s", args, said)
			require.Less(t, len(said), 100_000, name)
		}
	}
	for _, endless := range []string{"/dev/zero", "/proc/self/mem", dir} {
		if _, err := os.Stat(endless); err == nil {
			status, _ := call(t, "check", endless, "--rig", "bench-node")
			require.Equal(t, exitUsage, status, endless)
		}
	}
	f.holds()
}

// TestHostile_Database: a rig file's database stays a database: nothing else on the computer is shown by an error.
func TestHostile_Database(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "secret.dbc"), []byte("root:x:0:0:secret"), 0o644))
	rigText, err := os.ReadFile("../../scenarios/rigs/bench-node.yaml")
	require.NoError(t, err)
	for _, name := range []string{"secret.dbc", "/etc/passwd", "../../../../../../etc/passwd", "/dev/zero",
		strings.Repeat("d/", 5000) + "x"} {
		text := strings.Replace(string(rigText), "bench-node.dbc", name, 1)
		path := filepath.Join(dir, "rig.yaml")
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
		status, said := call(t, "check", "release", "--rig", path)
		require.Equal(t, exitUsage, status, "%.100s: %.300s", name, said)
		require.NotContains(t, said, "root:x")
	}
}

// TestHostile_Records: journals, results and an index that are damaged or made to hurt.
func TestHostile_Records(t *testing.T) {
	f := newFence(t)
	status, said := call(t, simRun(f.out, "HF-1", planText(t, quickPlan))...)
	require.Contains(t, []int{exitDone, exitUndecided}, status, said)
	found, err := filepath.Glob(filepath.Join(f.out, "*"))
	require.NoError(t, err)
	var good string
	for _, path := range found {
		if _, err := os.Stat(filepath.Join(path, record.JournalFile)); err == nil {
			good = path
		}
	}
	whole, err := os.ReadFile(filepath.Join(good, record.JournalFile))
	require.NoError(t, err)
	huge := append([]byte(nil), whole[:24]...)
	huge[12], huge[13], huge[14], huge[15] = 0xff, 0xff, 0xff, 0x7f // a block of 2 GiB
	for name, text := range map[string][]byte{"empty": nil, "short": whole[:10], "cut": whole[:len(whole)/2],
		"huge block": huge, "zeros": make([]byte, 1<<20), "flipped": flipped(whole),
		"twice": append(append([]byte(nil), whole...), whole...)} {
		folder, err := record.NewFolder(f.out, name, clock.Real().Time())
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(folder.Journal(), text, 0o644))
		require.NoError(t, os.WriteFile(folder.Frames(), text, 0o644))
		status, said := call(t, "report", folder.Path, "--out", f.out)
		require.Contains(t, []int{exitDone, exitUsage}, status, "%s: %.300s", name, said)
		if name == "twice" { // what follows the end of a run is told, and takes nothing from the run
			require.Contains(t, said, "could not be read")
		} else {
			require.NotContains(t, said, "PASS", name)
		}
		status, said = call(t, "decode", folder.Frames())
		require.Contains(t, []int{exitDone, exitUsage, exitInternal}, status, "%s: %.300s", name, said)
		require.Less(t, len(said), 10_000, name)
	}
	_, said = call(t, "recover", "--out", f.out)
	requireNoControls(t, said)
	garbage := bytes.Repeat([]byte("no database "), 1000)
	require.NoError(t, os.WriteFile(filepath.Join(f.out, record.IndexFile), garbage, 0o644))
	status, said = call(t, "history", "--out", f.out)
	require.NotEqual(t, exitDone, status)
	require.Contains(t, said, record.IndexFile)
	f.holds()
}

// flipped damages every hundredth byte behind the header's first blocks.
func flipped(b []byte) []byte {
	out := append([]byte(nil), b...)
	for i := 20_000; i < len(out); i += 100 {
		out[i] ^= 0x55
	}
	return out
}
