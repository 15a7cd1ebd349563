//go:build !linux

package can

import (
	einride "go.einride.tech/can"

	"holdfast/j1939/clock"
)

// Absent is the port of a bus that only Linux has: it cannot be opened, and everything on it fails.
type Absent struct{}

var _ Port = (*Absent)(nil)

// Now is the computer's clock.
func (*Absent) Now() clock.Instant { return clock.Real() }

// Receive always fails.
func (*Absent) Receive([]Frame, clock.Instant) (int, error) { return 0, ErrMissing }

// Send always fails.
func (*Absent) Send(einride.Frame) error { return ErrMissing }

// Stats counts nothing.
func (*Absent) Stats() Stats { return Stats{} }

// Close does nothing.
func (*Absent) Close() error { return nil }
