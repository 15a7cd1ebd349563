package main

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/clock"
)

// asTool makes this test's own binary the tool, for the tests that need a process of its own.
const asTool = "HOLDFAST_TEST_AS_TOOL"

func init() {
	if os.Getenv(asTool) != "" {
		main()
	}
}

// tool is holdfast in a process of its own.
type tool struct {
	*exec.Cmd
	t      *testing.T
	stderr *os.File // our end of the pipe
	out    string   // the folder of its records

	mu   sync.Mutex
	said bytes.Buffer
	line chan string
}

// startTool starts holdfast with a scratch folder for its records.
func startTool(t *testing.T, args ...string) *tool {
	t.Helper()
	p := &tool{t: t, out: t.TempDir(), line: make(chan string, 1000)}
	p.Cmd = exec.Command(os.Args[0], append(args, "--out", p.out)...)
	p.Env = append(os.Environ(), asTool+"=1")
	read, write, err := os.Pipe()
	require.NoError(t, err)
	p.stderr, p.Stderr = read, write
	require.NoError(t, p.Start())
	require.NoError(t, write.Close())
	go p.read()
	t.Cleanup(func() { _ = p.Process.Kill(); read.Close() })
	return p
}

func (p *tool) read() {
	defer close(p.line)
	lines := bufio.NewScanner(p.stderr)
	for lines.Scan() {
		p.mu.Lock()
		p.said.WriteString(lines.Text() + "\n")
		p.mu.Unlock()
		p.line <- lines.Text()
	}
}

// stderrText is what it has said so far.
func (p *tool) stderrText() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.said.String()
}

// await waits until it says something.
func (p *tool) await(words string) {
	p.t.Helper()
	late := time.After(60 * time.Second)
	for {
		select {
		case line, ok := <-p.line:
			require.True(p.t, ok, "it ended before it said %q: %s", words, p.stderrText())
			if strings.Contains(line, words) {
				return
			}
		case <-late:
			require.Fail(p.t, "it never said "+words, p.stderrText())
		}
	}
}

// ended waits for the end and returns the exit status; -1 when a signal ended it.
func (p *tool) ended() int {
	p.t.Helper()
	timer := time.AfterFunc(60*time.Second, func() { _ = p.Process.Signal(syscall.SIGABRT) })
	defer timer.Stop()
	err := p.Wait()
	var exited *exec.ExitError
	if err != nil && !errors.As(err, &exited) {
		require.NoError(p.t, err)
	}
	for range p.line { // all that it has said
	}
	return p.ProcessState.ExitCode()
}

// file is the one file of that name in the record.
func (p *tool) file(name string) string {
	p.t.Helper()
	found, err := filepath.Glob(filepath.Join(p.out, "*", name))
	require.NoError(p.t, err)
	require.Len(p.t, found, 1, name)
	return found[0]
}

// commandsSent returns the command frames that the record says were sent.
func commandsSent(t *testing.T, path string) (frames []can.Frame) {
	t.Helper()
	source, err := capture.Open(path)
	require.NoError(t, err)
	defer source.Close()
	buf := make([]can.Frame, 256)
	for {
		n, err := source.Receive(buf, clock.Never)
		for _, f := range buf[:n] {
			if f.ID == idOutputs {
				frames = append(frames, f)
			}
		}
		if err != nil {
			require.ErrorIs(t, err, io.EOF)
			return frames
		}
	}
}

// idOutputs is BenchOutputs (scenarios/rigs/bench-node.dbc).
const idOutputs = 2365526265 & 0x1fffffff

// driving says that a command lets the pump run; atRest that every output has its safe value, where
// the vent may be open.
func driving(f can.Frame) bool { return f.Data.UnsignedBitsLittleEndian(0, 16) != 0 }

func atRest(f can.Frame) bool {
	for _, output := range []struct{ start, length uint8 }{{0, 16}, {16, 16}, {32, 2}, {34, 2}, {36, 2}} {
		if f.Data.UnsignedBitsLittleEndian(output.start, output.length) != 0 {
			return false
		}
	}
	return true
}
