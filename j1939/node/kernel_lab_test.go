//go:build lab

// Conformance with the kernel's own J1939 stack (socket family CAN_J1939, Linux net/can/j1939), a stack that
// nobody here wrote: every message byte for byte, or aborted with a reason of the standard, on both sides
// alike. Runs in the emulated computer of .ci/can-lab, in real time.
package node_test

import (
	"os"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// punctual skips where the timers of the standard measure the host and not the stacks: in real time an emulated
// computer is late whenever its host is busy. By a clock that counts its instructions it never is.
func punctual(t *testing.T) {
	t.Helper()
	if os.Getenv("CAN_LAB_CLOCK") != "instructions" && os.Getenv("HOLDFAST_KERNEL") == "" {
		t.Skip("runs where the emulated computer's clock counts its instructions (.ci/can-lab -i), or with" +
			" HOLDFAST_KERNEL=1 on a machine that does nothing else")
	}
}

// transfers is how many messages each way a run has: some hundreds in the gate, HOLDFAST_TRANSFERS for more
// ("make test-kernel" runs 5 000).
func transfers(t *testing.T) int {
	t.Helper()
	text := os.Getenv("HOLDFAST_TRANSFERS")
	if text == "" {
		return 400
	}
	n, err := strconv.Atoi(text)
	require.NoError(t, err)
	require.GreaterOrEqual(t, n, 100, "too few for what is asked of them")
	return n
}

// A path without damage: every message arrives and both sides say so.
func TestLab_KernelClean(t *testing.T) {
	punctual(t)
	eachWay := transfers(t)
	c := punctualRun(t, plan{seed: 1, eachWay: eachWay, broadcasts: eachWay / 8}, "", 8*time.Minute)
	y := c.report(t, "clean path")
	require.Zero(t, y.mixed)
	require.Equal(t, [2]int{eachWay, eachWay}, y.whole, "%v", y.lines)
}

// Extended messages, the longest of 100 000 bytes, on a path without damage.
func TestLab_KernelCleanExtended(t *testing.T) {
	punctual(t)
	const eachWay = 60
	c := punctualRun(t, plan{seed: 2, eachWay: eachWay, extended: eachWay}, "", 4*time.Minute)
	y := c.report(t, "clean path, extended")
	require.Equal(t, [2]int{eachWay, eachWay}, y.whole, "%v", y.lines)
}

// Frames lost, doubled and swapped on both directions of the path.
func TestLab_KernelDamaged(t *testing.T) {
	punctual(t)
	eachWay := transfers(t)
	c := punctualRun(t, plan{seed: 3, eachWay: eachWay, broadcasts: eachWay / 8, extended: 20},
		"reorder 0.2% loss 0.1% duplicate 0.2%", 10*time.Minute)
	y := c.report(t, "damaged path")
	for _, whole := range y.whole {
		require.Greater(t, whole, eachWay*3/4, "most get through")
		require.Less(t, whole, eachWay, "the damage was real")
	}
	require.Less(t, y.crossed*100, 2*eachWay, "the two sides differ too often")
}
