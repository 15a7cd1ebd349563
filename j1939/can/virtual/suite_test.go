package virtual_test

import (
	"errors"
	"testing"

	"holdfast/j1939/can/bustest"
	"holdfast/j1939/can/virtual"
)

func TestPort_Suite(t *testing.T) {
	bustest.RunPort(t, func(*testing.T) bustest.Pair {
		bus := virtual.New(start, 250_000)
		return bustest.Pair{
			A: bus.Open("a"), B: bus.Open("b"),
			Overflow: virtual.ReceiveQueue + 10,
			Fail:     func() { bus.Fail(errors.New("pulled")) },
		}
	})
}
