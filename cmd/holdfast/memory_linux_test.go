package main

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"runtime"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/clock"
	"holdfast/j1939/trace/tracegen"
)

// peakAllowed is what decode promises for a recording of any length.
const peakAllowed = 20 << 20

// builtTool is the program as it is shipped: this test's own binary holds much that the program does not.
func builtTool(t *testing.T) string {
	t.Helper()
	if bin := os.Getenv("HOLDFAST_BIN"); bin != "" {
		return bin
	}
	if _, err := exec.LookPath("go"); err != nil {
		t.Skipf("the program cannot be built here: %v", err)
	}
	bin := filepath.Join(t.TempDir(), "holdfast")
	build := exec.Command("go", "build", "-trimpath", "-ldflags", "-s -w", "-o", bin, ".")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	out, err := build.CombinedOutput()
	require.NoError(t, err, "%s", out)
	return bin
}

// TestDecode_PeakMemory: the kernel's own high-water mark of a process that decodes a recording larger than what it
// may use, read whenever some of its output has come. The frames that come out are all there.
func TestDecode_PeakMemory(t *testing.T) {
	if testing.Short() {
		t.Skip("it builds the program")
	}
	if runtime.GOARCH != "amd64" {
		t.Skipf("how much of a program file is in memory depends on the size of a page: not measured on %s",
			runtime.GOARCH)
	}
	bin := builtTool(t)
	long := filepath.Join(t.TempDir(), "long")
	frames := writeLong(t, long, 2100*time.Second)
	for ending, args := range map[string][]string{".pcapng": {"--summary"}, ".log": {"--json"}} {
		file := long + ending
		info, err := os.Stat(file)
		require.NoError(t, err)
		require.Greater(t, info.Size(), int64(peakAllowed), "a program that reads all of it is found out")
		peak, said := peakOf(t, exec.Command(bin, append([]string{"decode", file}, args...)...))
		t.Logf("%s %v: %.1f MiB", ending, args, float64(peak)/(1<<20))
		require.Less(t, peak, peakAllowed, "%s %v", ending, args)
		require.Contains(t, said, fmt.Sprintf("%d frames:", frames[ending]))
	}
}

// writeLong writes the mixed traffic as pcapng and as candump text and returns the number of frames in each.
func writeLong(t *testing.T, path string, d time.Duration) map[string]int {
	t.Helper()
	w, err := capture.Create(path + ".pcapng")
	require.NoError(t, err)
	text, err := os.Create(path + ".log")
	require.NoError(t, err)
	g, frames := tracegen.New(1, d), make([]can.Frame, 4096)
	all := map[string]int{}
	var lines []byte
	for n := g.Fill(frames); n > 0; n = g.Fill(frames) {
		lines = lines[:0]
		for _, f := range frames[:n] {
			if err := w.Write(f, capture.Inbound); err != nil {
				require.NoError(t, err)
			}
			all[".pcapng"]++
			if !f.Error {
				lines = appendCandump(lines, f)
				all[".log"]++
			}
		}
		_, err = text.Write(lines)
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	require.NoError(t, text.Close())
	return all
}

// appendCandump appends a line of candump -L.
func appendCandump(dst []byte, f can.Frame) []byte {
	return fmt.Appendf(dst, "(%d.%06d) can0 %s\n", f.Time/clock.Instant(time.Second),
		f.Time%clock.Instant(time.Second)/clock.Instant(time.Microsecond), f.Frame)
}

var highWater = regexp.MustCompile(`VmHWM:\s+(\d+) kB`)

// peakOf runs a process and returns the most memory that it had, and what it said at the end. wait4's ru_maxrss would
// count the memory of this test, which the process begins as.
func peakOf(t *testing.T, cmd *exec.Cmd) (peak int, said string) {
	t.Helper()
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	errOut, err := cmd.StderrPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	buffer := make([]byte, 64<<10)
	for n := 0; err == nil; {
		n, err = out.Read(buffer)
		status, failed := os.ReadFile(fmt.Sprintf("/proc/%d/status", cmd.Process.Pid))
		if mark := highWater.FindSubmatch(status); failed == nil && n > 0 && mark != nil {
			kB, _ := strconv.Atoi(string(mark[1]))
			peak = max(peak, kB<<10)
		}
	}
	require.ErrorIs(t, err, io.EOF)
	rest, err := io.ReadAll(errOut)
	require.NoError(t, err)
	require.NoError(t, cmd.Wait())
	require.NotZero(t, peak)
	return peak, string(rest)
}
