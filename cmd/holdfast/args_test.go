package main

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/engine"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// Whatever is wrong on a command line, the answer says what to write.
func TestCommandLine_SaysWhatWouldDo(t *testing.T) {
	for want, args := range map[string][]string{
		"RUN is missing: holdfast report RUN":                    {"report"},
		`"b" is one word too many: holdfast store backup FOLDER`: {"store", "backup", "a", "b"},
		"unknown flag: --nope; holdfast history --help lists":    {"history", "--nope"},
		"unknown shorthand flag: 'n' in -n; holdfast sim --help": {"sim", "-n"},
		"--listen 3: write a time with its unit: 10s, 5m or 8h":  {"intake", "--serial", "A", "--listen", "3"},
		"--for soon: write a time with its unit: 10s, 5m or 8h":  {"scan", "sim", "--for", "soon"},
	} {
		require.Contains(t, must(t, exitUsage, args...), want)
	}
}

// What the command library says of a wrong line is said in words that a person can act on, in one line.
func TestUsage_InWords(t *testing.T) {
	for _, c := range []struct {
		line []string
		says string
	}{
		{[]string{"run"}, "SCENARIO is missing: holdfast run SCENARIO --rig RIG"},
		{[]string{"run", "release"}, "--bus, --rig, --serial missing: holdfast run SCENARIO"},
		{[]string{"export"}, "--to missing: holdfast export"},
		{[]string{"chek", "release"}, `unknown command "chek" for "holdfast"; did you mean check?`},
		{[]string{"nosuch"}, "holdfast --help lists them"},
		{[]string{"store", "chekc"}, `unknown command "chekc" for "holdfast store"; holdfast store --help lists them`},
		{[]string{"bus", "sow"}, "holdfast bus --help lists them"},
		{[]string{"intake", "--serial", "S", "--hours", "18400h"}, `--hours: "18400h" is not a number`},
		{[]string{"torture", "--seeds", "1e99999"}, `--seeds: "1e99999" is not a number`},
		{[]string{"watch", "--nosuch"}, "holdfast watch --help lists the flags"},
	} {
		status, out, errOut := holdfast(c.line...)
		require.Equal(t, exitUsage, status, "%v", c.line)
		require.Empty(t, out, "%v", c.line)
		require.Contains(t, errOut, c.says)
		require.Regexp(t, `^holdfast: [^\n\x{FFFD}]+\n$`, errOut, "%v", c.line)
	}
	status, out, _ := holdfast("store")
	require.Equal(t, exitDone, status)
	require.Contains(t, out, "instruments", "a group without a word shows its help")
	status, out, _ = holdfast("--version")
	require.Equal(t, exitDone, status)
	require.Equal(t, "holdfast "+version+"\n", out)
}

// Times are written as people read them, not as a program does.
func TestLasting(t *testing.T) {
	for d, says := range map[time.Duration]string{10 * time.Millisecond: "10 ms", 750 * time.Millisecond: "750 ms",
		10750 * time.Millisecond: "10.75 s", time.Minute: "1 min", 455750 * time.Millisecond: "7 min 36 s",
		59999 * time.Millisecond: "60 s", time.Hour: "60 min"} {
		require.Equal(t, says, lasting(d))
	}
}

// The live line never wraps: with it every redraw would push the screen up.
func TestProgress_OneLine(t *testing.T) {
	var out bytes.Buffer
	p := newProgress(&out, true, &scenario.Plan{Steps: make([]scenario.Step, 20)})
	p.width = 80
	p.show(engine.Progress{Name: "ask insulation_resistance", Pressure: -0.001, Known: true, Drive: math.NaN(),
		Left: 1198 * time.Second})
	text := strings.NewReplacer("\x1b7\x1b[1A\r\x1b[K", "", "\x1b8", "").Replace(out.String())
	require.Len(t, text, 79)
	require.Regexp(t, `^19 min 58 s left  step  1/20  ask insulation_resistance +0\.0 s   0\.00 bar`, text)
}

// Why a run was tripped is said when it happens, and once.
func TestProgress_Trip(t *testing.T) {
	var out bytes.Buffer
	p := newProgress(&out, false, &scenario.Plan{Steps: make([]scenario.Step, 20)})
	trip := &samples.Trip{Name: "bench-silent", Reading: "nothing", Limit: "200 ms", Next: "read the gauge"}
	p.show(engine.Progress{Name: "relieving the line unseen", Trip: trip})
	require.Contains(t, out.String(), "TRIP bench-silent: nothing, limit 200 ms. Next: read the gauge.")
	p.lastWord(engine.Outcome{Trip: trip, Unseen: 30 * time.Second,
		Last: engine.Heard{Pressure: 8.93, Ago: 30 * time.Second, Known: true}})
	require.Equal(t, 1, strings.Count(out.String(), "TRIP"))
	said := strings.ReplaceAll(out.String(), "\n", " ")
	require.Contains(t, said, "the last one was 8.93 bar gauge, 30.0 s ago")
	require.Contains(t, said, "whether it heard that is not known. Read the gauge on the line.")
}
