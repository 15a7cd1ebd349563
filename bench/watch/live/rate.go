package live

import (
	"fmt"

	"holdfast/j1939/can"
)

// rateGuard stops listening where there is nothing but bus errors: the bit rate is wrong, and a controller
// that is not listen-only takes part in every one of them.
type rateGuard struct {
	heard, bad uint64
	silent     bool
}

// Classes of an error frame that say the bits were not understood (Linux include/uapi/linux/can/error.h):
// protocol violation, bus error.
const errorClassBits = 0x08 | 0x80

// badAtMost is how many bus errors without a single frame are enough.
const badAtMost = 5

func (g *rateGuard) add(frames []can.Frame) error {
	for i := range frames {
		switch {
		case !frames[i].Error:
			g.heard++
		case frames[i].ID&errorClassBits != 0:
			g.bad++
		}
	}
	if g.heard > 0 || g.bad < badAtMost {
		return nil
	}
	what := "the controller was disturbing the bus"
	if g.silent {
		what = "nothing was disturbed: the interface is listen-only"
	}
	return fmt.Errorf("%d bus errors and not one frame: the bit rate is wrong (%s); "+
		"--find-bitrate finds it by listening only", g.bad, what)
}
