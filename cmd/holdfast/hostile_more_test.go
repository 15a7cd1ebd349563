package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// nasty are texts that nobody types and somebody sends.
var nasty = map[string]string{
	"10 MB":         strings.Repeat("A", 10<<20),
	"controls":      "a\x1b[2J\x07\x1b]0;owned\x07b",
	"newlines":      "a\nPASS   all limits kept\nb",
	"right to left": "a\u202eb",
	"script":        `<script>alert(1)</script>`,
	"not UTF-8":     "a\xff\xfeb",
	"percent":       "%s%n%x",
	"NUL":           "a\x00b",
}

// TestHostile_Buses: a bus's name is a name: it opens what it says or is refused, and removes nothing that
// is there.
func TestHostile_Buses(t *testing.T) {
	f := newFence(t)
	plan := planText(t, quickPlan)
	file := filepath.Join(f.root, "a", "evil")
	buses := map[string]string{"nothing": "unix:", "a file": "unix:" + file, "a folder": "unix:" + f.root,
		"no such folder": "unix:" + filepath.Join(f.root, "none", "bus"), "a device": "unix:/dev/null"}
	for name, text := range nasty {
		buses[name], buses["an interface of "+name] = "unix:"+filepath.Join(f.out, text), text
	}
	for name, bus := range buses {
		for _, args := range [][]string{{"run", plan, "--rig", "bench-node", "--bus", bus, "--serial", "X", "--yes",
			"--out", f.out}, {"scan", bus}, {"decode", bus}, {"watch", bus, "--for", "1s"}} {
			status, said := call(t, args...)
			require.NotEqual(t, exitDone, status, "%s: %.40q", name, args)
			require.Less(t, len(said), 4000, "%s: %.40q", name, args)
			requireNoControls(t, said)
		}
		if strings.HasPrefix(name, "a ") || name == "nothing" || name == "no such folder" {
			status, said := call(t, "sim", "--bus", bus)
			require.Equal(t, exitBus, status, name)
			requireNoControls(t, said)
		}
	}
	f.holds()
}

// TestHostile_OutputLog: the log of a bench is a new file, and no other is touched for it.
func TestHostile_OutputLog(t *testing.T) {
	f := newFence(t)
	for _, log := range []string{filepath.Join(f.root, "evil"), f.root, "/dev/null", filepath.Join(f.root, "none", "log")} {
		status, said := call(t, "sim", "--bus", "unix:"+filepath.Join(f.out, "bus"), "--log-outputs", log)
		require.Equal(t, exitUsage, status, said)
		require.Contains(t, said, "--log-outputs")
	}
	f.holds()
	entries, err := os.ReadDir(f.out)
	require.NoError(t, err)
	require.Empty(t, entries, "the bus has gone with its bench")
}

// TestHostile_Intake: what is typed of a unit is kept as text or refused, in bounded length, and moves no
// terminal.
func TestHostile_Intake(t *testing.T) {
	for name, text := range nasty {
		t.Run(name, func(t *testing.T) {
			f := newFence(t)
			for _, flag := range []string{"--complaint", "--owner", "--kind", "--part", "--by", "--fault", "--serial",
				"--hours", "--faults-from"} {
				args := []string{"intake", "--out", f.out, flag, text}
				if flag != "--serial" {
					args = append(args, "--serial", "HF-1")
				}
				status, said := call(t, args...)
				allowed := []int{exitDone, exitUsage}
				if flag == "--faults-from" {
					allowed = []int{exitUsage, exitBus} // neither a file nor an interface
				}
				require.Contains(t, allowed, status, "%s: %.300s", flag, said)
				requireNoControls(t, said)
				require.Less(t, len(said), 20_000, "%s: a screen is not filled with what was typed", flag)
			}
			_, said := call(t, "history", "HF-1", "--out", f.out)
			requireNoControls(t, said)
			require.Less(t, len(said), 20_000)
			f.holds()
		})
	}
	f := newFence(t)
	for _, more := range [][]string{{"--hours", "NaN"}, {"--hours", "Inf"}, {"--hours", "-1"}, {"--hours", "1e300"},
		{"--fault", "4334"}, {"--fault", "4334/99"}, {"--fault", "-1/3"}, {"--fault", "4334/3/999"}, {"--fault", "1/2/3/4"},
		{"--fault", "524288/1"}} {
		status, said := call(t, append([]string{"intake", "--serial", "HF-2", "--out", f.out}, more...)...)
		require.Equal(t, exitUsage, status, "%v: %s", more, said)
	}
	f.holds()
}

// TestHostile_Texts: what the newer files and flags take in is text to be judged: alarms, answers, other
// senders of a rig, legs of a truck.
func TestHostile_Texts(t *testing.T) {
	f := newFence(t)
	dir := t.TempDir()
	rig, err := os.ReadFile("../../scenarios/rigs/bench-node.yaml")
	require.NoError(t, err)
	dbc, err := os.ReadFile("../../scenarios/rigs/bench-node.dbc")
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "bench-node.dbc"), dbc, 0o644))
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, []byte(text), 0o644))
		return path
	}
	for name, text := range nasty {
		senders := strings.Replace(string(rig), "\ncycle: 20 ms ", "\nother_senders: [{address: "+text+
			", what: x}, {address: 5, what: "+text+", more: "+text+"}]\ncycle: 20 ms ", 1)
		for _, args := range [][]string{
			{"check", "release", "--rig", write("rig.yaml", senders)},
			{"watch", "can0", "--alarms", write("alarms.yaml", "holdfast: alarms/1\nalarms:\n  - name: "+text+
				"\n    spn: "+text+"\n")},
			{"run", "release-with-eyes", "--rig", "bench-node", "--bus", "sim", "--serial", "X", "--yes", "--out", f.out,
				"--answers", write("answers.yaml", "holdfast: answers/1\nanswers:\n  "+text+": "+text+
					"\n  external_leak: "+text+"\n")},
			{"sim", "vehicle", "--write", filepath.Join(dir, "day.pcapng"), "--legs", text},
			{"sim", "vehicle", "--write", filepath.Join(dir, "day.pcapng"), "--legs", "99999h+1s"},
		} {
			status, said := call(t, args...)
			require.NotEqual(t, exitDone, status, "%s: %.60q", name, args)
			require.NotEqual(t, exitInternal, status, "%s: %.60q: %.300s", name, args, said)
			require.Less(t, len(said), 20_000, "%s: %.60q", name, args)
			requireNoControls(t, said)
		}
	}
	f.holds()
}
