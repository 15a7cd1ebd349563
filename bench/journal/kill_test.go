package journal_test

import (
	"bufio"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/journal"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/j1939/spn"
)

const killedPath = "HOLDFAST_TEST_JOURNAL"

// TestMain lets the test's own binary be the process that is killed.
func TestMain(m *testing.M) {
	if path := os.Getenv(killedPath); path != "" {
		recordUntilKilled(path)
	}
	os.Exit(m.Run())
}

// recordUntilKilled records readings numbered from 0 and prints how many the journal has acknowledged.
func recordUntilKilled(path string) {
	w, err := journal.Create(path, header())
	for i := 0; err == nil; i++ {
		at := t0.Add(time.Duration(i) * time.Millisecond)
		err = w.Reading(rig.Reading{Time: at, Value: float64(i), Channel: rig.LinePressure, Status: spn.Valid})
		if err == nil && i%97 == 96 {
			err = w.Flush()
			fmt.Println(i + 1)
		}
	}
	fmt.Fprintln(os.Stderr, err)
	os.Exit(1)
}

// Goal: no sample that the journal acknowledged is lost when the process is killed at any instant.
// Method: real processes, killed after a random time once they have acknowledged something.
func TestJournal_KilledProcess(t *testing.T) {
	const kills = 8
	random := rand.New(rand.NewPCG(20260304, 1))
	for k := range kills {
		path := filepath.Join(t.TempDir(), "run.journal")
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), killedPath+"="+path)
		out, err := cmd.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, cmd.Start())
		lines := bufio.NewScanner(out)
		require.True(t, lines.Scan(), "nothing was ever acknowledged")
		timer := time.AfterFunc(time.Duration(random.IntN(30_000))*time.Microsecond, func() { _ = cmd.Process.Kill() })
		last := lines.Text()
		for lines.Scan() {
			last = lines.Text()
		}
		timer.Stop()
		require.Error(t, cmd.Wait(), "it was to be killed")
		acknowledged := 0
		if _, err := fmt.Sscan(strings.TrimSpace(last), &acknowledged); err != nil {
			acknowledged = 0 // killed within the line
		}
		_, rec, err := journal.Open(path)
		require.NoError(t, err)
		require.Equal(t, samples.Interrupted, rec.Ended)
		got := rec.Channels[rig.LinePressure].V
		require.GreaterOrEqual(t, len(got), acknowledged, "kill %d", k)
		for i, v := range got {
			require.Equal(t, float64(i), v)
		}
	}
}
