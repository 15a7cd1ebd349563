package socketcan

import (
	"time"

	"golang.org/x/sys/unix"

	"holdfast/j1939/clock"
)

// timeline is the port's own time: the computer's clock when the port was opened, carried on by a
// clock that nobody sets (CLOCK_BOOTTIME: it also counts while the computer sleeps). A person or a time
// service may set the computer's clock by an hour in the middle of a run, and neither a deadline nor a
// measured time moves.
type timeline struct {
	base clock.Instant // the computer's clock at boot, as seen when the port was opened

	// Mutable, under receiver.reading.
	ahead time.Duration // of the computer's clock over the port's: what its setting has added since
	last  clock.Instant // the latest stamp handed out
}

// Limits of following the computer's clock.
const (
	sureWithin = 50 * time.Microsecond  // the two clocks were read within this, or the reading is not used
	setBy      = 200 * time.Microsecond // more than this apart: the clock has been set
)

func boottime() time.Duration {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		panic("socketcan: no CLOCK_BOOTTIME: " + err.Error()) // it is there since Linux 2.6.39
	}
	return time.Duration(ts.Nano())
}

func newTimeline() timeline {
	var t timeline
	for {
		before := boottime()
		wall := clock.Real()
		if boottime()-before <= sureWithin {
			t.base = wall.Add(-before)
			return t
		}
	}
}

// now is the port's time.
func (t *timeline) now() clock.Instant { return t.base.Add(boottime()) }

// follow reads both clocks and notes when the computer's has been set.
func (t *timeline) follow() {
	before := boottime()
	wall := clock.Real()
	t.compare(before, wall, boottime())
}

// compare takes the computer's clock read between two readings of the other one.
func (t *timeline) compare(before time.Duration, wall clock.Instant, after time.Duration) {
	if after-before > sureWithin {
		return // interrupted in between: the next reading will do
	}
	ahead := wall.Sub(t.base.Add(before))
	if moved := ahead - t.ahead; moved > setBy || moved < -setBy {
		t.ahead = ahead
	}
}

// place puts a kernel stamp of the computer's clock on the port's time. A stamp from before the clock was
// set, read after it, lands between the last one and now: wrong by no more than the frame had waited.
func (t *timeline) place(stamp, now clock.Instant) clock.Instant {
	at := min(max(stamp.Add(-t.ahead), t.last), now)
	t.last = max(t.last, at)
	return at
}
