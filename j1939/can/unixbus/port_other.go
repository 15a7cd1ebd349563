//go:build !linux

package unixbus

import (
	"fmt"
	"runtime"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// Port does not exist here: the clock that all members of a bus share is one of Linux.
type Port struct{}

var _ can.Port = (*Port)(nil)

func absent(path string) error {
	return fmt.Errorf("open bus %s%s: %w: it needs Linux, this is %s", Prefix, path, can.ErrMissing,
		runtime.GOOS)
}

// Attach always fails.
func Attach(path string) (*Port, error) { return nil, absent(path) }

// Join always fails.
func Join(path string) (*Port, error) { return nil, absent(path) }

// Listen always fails.
func Listen(path string) (can.Source, error) { return nil, absent(path) }

// Now is the computer's clock.
func (*Port) Now() clock.Instant { return clock.Real() }

// Receive always fails.
func (*Port) Receive([]can.Frame, clock.Instant) (int, error) { return 0, can.ErrMissing }

// Send always fails.
func (*Port) Send(einride.Frame) error { return can.ErrMissing }

// Stats counts nothing.
func (*Port) Stats() can.Stats { return can.Stats{} }

// Close does nothing.
func (*Port) Close() error { return nil }
