//go:build lab

package socketcan_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/socketcan"
)

// TestLab_EmulatedControllersKnowNoBitRate states a limit of this lab, so that nobody takes it for a wire: the SJA1000
// that qemu emulates takes no notice of its bus timing registers (hw/net/can/can_sja1000.c: "Bus timing 0, hardware
// related, not support now"), reads error counters as 0 and never sets an error or bus-off status. Two of them at
// different rates hear each other, where real ones would go error-passive and bus-off. A wrong bit rate and bus-off are
// therefore tested with the error frames that a driver makes of them (TestLabWaysOut). If this test fails one day, the
// emulation has learnt it, and those rows can be tested for real.
func TestLab_EmulatedControllersKnowNoBitRate(t *testing.T) {
	rate := func(bits string) {
		for _, line := range []string{"ip link set can1 down", "ip link set can1 type can bitrate " + bits, "ip link set can1 up"} {
			command(t, line)
		}
	}
	before, err := socketcan.Inspect("can1")
	require.NoError(t, err)
	rate("500000")
	t.Cleanup(func() { rate("250000") })
	slow, err := socketcan.Inspect("can0")
	require.NoError(t, err)
	fast, err := socketcan.Inspect("can1")
	require.NoError(t, err)
	require.NotEqual(t, slow.BitRate, fast.BitRate)
	mouth, ear := open(t, "can0", socketcan.Options{}), open(t, "can1", socketcan.Options{})
	frames := make([]can.Frame, 4)
	require.NoError(t, mouth.Send(frame(7)))
	n, err := ear.Receive(frames, ear.Now().Add(10*time.Second))
	require.NoError(t, err)
	require.Equal(t, 1, n)
	require.Equal(t, frame(7), frames[0].Frame)
	after, err := socketcan.Inspect("can1")
	require.NoError(t, err)
	require.Equal(t, "error-active", after.State)
	require.Zero(t, after.TxErrors+after.RxErrors)
	require.Equal(t, before.BusOffs, after.BusOffs)
	t.Logf("can0 at %d bit/s is heard by can1 at %d bit/s: no error counted, state %s", slow.BitRate, fast.BitRate, after.State)
}
