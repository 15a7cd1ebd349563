package unixbus

import (
	"time"

	"golang.org/x/sys/unix"

	"holdfast/j1939/clock"
)

// boottime is the one clock that all processes of the computer share and nobody sets.
func boottime() time.Duration {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		panic("unixbus: no CLOCK_BOOTTIME: " + err.Error()) // it is there since Linux 2.6.39
	}
	return time.Duration(ts.Nano())
}

// newBase is the computer's clock at boot, as seen now.
func newBase() clock.Instant {
	before := boottime()
	return clock.Real().Add(-before)
}
