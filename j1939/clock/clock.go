// Package clock gives time as a value. Cores take an Instant as a parameter; only the edge
// (a bus port, the command line) reads a real clock, so the same code runs in real and in
// virtual time and the same seed gives the same bytes.
//
// It does not sleep and starts no timer: waiting is what a bus port does (can.Source.Receive).
package clock

import (
	"math"
	"time"
)

// Instant is a point in time: nanoseconds since 1970-01-01T00:00:00Z.
// On a real bus it is the kernel's receive time; on the virtual bus it is simulated.
// Range: years 1678 to 2262.
type Instant int64

// Never is later than every instant: a process with nothing to do wakes then.
const Never Instant = math.MaxInt64

// At returns the instant of a wall-clock time.
func At(t time.Time) Instant { return Instant(t.UnixNano()) }

// Add returns i moved by d.
func (i Instant) Add(d time.Duration) Instant { return i + Instant(d) }

// Sub returns the time from j to i; negative when i is before j.
func (i Instant) Sub(j Instant) time.Duration { return time.Duration(i - j) }

// Seconds returns the time from j to i in seconds.
func (i Instant) Seconds(j Instant) float64 { return float64(i-j) / 1e9 }

// Time returns the wall-clock time in UTC.
func (i Instant) Time() time.Time { return time.Unix(0, int64(i)).UTC() }

// Real reads the computer's clock.
func Real() Instant { return At(time.Now()) }
