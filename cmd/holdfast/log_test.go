package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// logLines reads lines of the log as a service manager keeps them: each is one JSON object.
func logLines(t *testing.T, text string) (lines []map[string]any) {
	t.Helper()
	for scanner := bufio.NewScanner(strings.NewReader(text)); scanner.Scan(); {
		var line map[string]any
		require.NoError(t, json.Unmarshal(scanner.Bytes(), &line), scanner.Text())
		require.Subset(t, line, map[string]any{"level": line["level"], "message": line["message"], "time": line["time"]})
		require.NotEmpty(t, line["time"])
		lines = append(lines, line)
	}
	return lines
}

// A run names itself and its bench in every line of its log, from opening to the index, whatever else it prints.
func TestLog_Run(t *testing.T) {
	status, _, errOut := holdfast("run", "release", "--rig", "bench-node", "--bus", "sim", "--serial", "HF-LOG", "--yes",
		"--out", t.TempDir(), "--json", "--log-level", "info")
	require.Equal(t, exitDone, status, errOut)
	var logged string
	for _, line := range strings.SplitAfter(errOut, "\n") {
		if strings.HasPrefix(line, "{") {
			logged += line
		}
	}
	lines := logLines(t, logged)
	var messages []any
	for _, line := range lines {
		messages = append(messages, line["message"])
		require.Contains(t, line["run"], "HF-LOG")
		require.Equal(t, "bench-node", line["bench"])
		require.Equal(t, "info", line["level"])
	}
	require.Equal(t, []any{"run opened", "run ended", "run put away"}, messages)
	require.Equal(t, []any{"completed", true}, []any{lines[1]["ended"], lines[1]["safe_to_open"]})
	require.Equal(t, "pass", lines[2]["verdict"])
}

// Without --log-level a run speaks as it always did.
func TestLog_RunQuiet(t *testing.T) {
	_, _, errOut := holdfast("run", "release", "--rig", "bench-node", "--bus", "sim", "--serial", "HF-LOG", "--yes",
		"--out", t.TempDir())
	require.NotContains(t, errOut, "{")
}

// A simulated bench, a recording and a watch on one bus: under a service manager everything on standard error is JSON
// with the bus in it, and what cannot be opened is still said in words.
func TestLog_LongRunning(t *testing.T) {
	dir := t.TempDir()
	bus := "unix:" + filepath.Join(dir, "bus")
	ctx, stop := context.WithCancel(context.Background())
	var bench bytes.Buffer
	over := make(chan int, 1)
	go func() { over <- execute(ctx, []string{"sim", "--bus", bus}, strings.NewReader(""), &bench, &bench) }()
	recorded := func() (int, string) {
		var errOut bytes.Buffer
		status := execute(context.Background(), []string{"record", bus, "--out", filepath.Join(dir, "r.pcapng"), "--for", "300ms",
			"--log-level", "debug"}, strings.NewReader(""), &errOut, &errOut)
		return status, errOut.String()
	}
	var said string
	require.Eventually(t, func() bool {
		var status int
		status, said = recorded()
		return status == exitDone
	}, 20*time.Second, 50*time.Millisecond, "the bus is not there yet")
	lines := logLines(t, said)
	require.Equal(t, "recording; Ctrl-C ends it", lines[0]["message"])
	last := lines[len(lines)-1]
	require.Equal(t, "recording ended", last["message"])
	require.Equal(t, bus, last["bus"])
	require.Greater(t, last["frames"], 0.0)
	require.Zero(t, last["lost"])
	require.Contains(t, said, `"message":"a new file"`)

	var watched, errOut bytes.Buffer
	require.Equal(t, exitDone, execute(context.Background(), []string{"watch", bus, "--for", "300ms"}, strings.NewReader(""),
		&watched, &errOut))
	lines = logLines(t, errOut.String())
	require.Contains(t, lines[0]["message"], "a bus between processes")
	require.Equal(t, "listening ended", lines[len(lines)-1]["message"])
	stop()
	require.Equal(t, exitDone, <-over)
	lines = logLines(t, bench.String())
	require.Equal(t, benchIsThere, lines[0]["message"])
	require.Equal(t, []any{bus, "bare"}, []any{lines[0]["bus"], lines[0]["unit"]})
	require.Equal(t, "simulated bench ends", lines[len(lines)-1]["message"])

	status, _, said := holdfast("sim", "--bus", bus, "--log-level", "loud")
	require.Equal(t, exitUsage, status)
	require.Contains(t, said, "debug, info, warn, error or off")
}

// What ends a command that runs long is in its log; with the log off a person is told.
func TestLogged(t *testing.T) {
	failed := withStatus(exitBus, errOnlyInside("watch"))
	var out bytes.Buffer
	root := newRoot()
	sim, _, err := root.Find([]string{"sim"})
	require.NoError(t, err)
	require.Equal(t, "info", sim.Flag("log-level").DefValue)

	var o simOptions
	require.NoError(t, o.level.Set("error"))
	log := newLog(&out, o.level)
	err = logged(&log, &out, failed)
	require.Equal(t, exitBus, statusOf(err))
	require.Empty(t, messageOf(err))
	require.Equal(t, float64(exitBus), logLines(t, out.String())[0]["exit_status"])
	require.NoError(t, o.level.Set("off"))
	log = newLog(&out, o.level)
	require.Equal(t, failed, logged(&log, &out, failed))
	require.NoError(t, logged(&log, &out, nil))
}
