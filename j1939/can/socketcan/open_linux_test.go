package socketcan_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/can/socketcan"
)

func TestOpen_MissingInterfaceSaysWhatThereIs(t *testing.T) {
	have, err := socketcan.Interfaces()
	require.NoError(t, err)
	for _, name := range []string{"can99", "lo", "", "a name that is far too long"} {
		_, err := socketcan.Open(name, socketcan.Options{})
		require.ErrorIs(t, err, can.ErrMissing, "%q", name)
		_, err = socketcan.Listen(name, socketcan.Options{})
		require.ErrorIs(t, err, can.ErrMissing, "%q", name)
		if len(have) == 0 {
			require.ErrorContains(t, err, "ip link add dev vcan0 type vcan")
		} else {
			require.ErrorContains(t, err, have[0].Name)
		}
	}
	_, err = socketcan.Open("lo", socketcan.Options{})
	require.ErrorContains(t, err, "another kind")
}
