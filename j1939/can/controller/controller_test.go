package controller_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can/controller"
)

// What cannot be read is no state, and what is no CAN interface is not set. The lab tests (cmd/holdfast,
// build tag lab) set real controllers.
func TestNoSuchInterface(t *testing.T) {
	_, err := controller.Read("can99")
	require.ErrorContains(t, err, "can99")
	require.ErrorContains(t, controller.Listen("can99", 250_000), "can99")
	_, err = controller.Read("lo")
	require.ErrorContains(t, err, "lo")
}
