//go:build !linux

package socketcan

import (
	"fmt"
	"runtime"

	einride "go.einride.tech/can"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// Port does not exist here: SocketCAN is a part of Linux.
type Port struct{}

var _ can.Port = (*Port)(nil)

func absent(iface string) error {
	return fmt.Errorf("open CAN interface %s: %w: SocketCAN needs Linux, this is %s",
		iface, can.ErrMissing, runtime.GOOS)
}

// Open always fails.
func Open(iface string, _ Options) (*Port, error) { return nil, absent(iface) }

// Listen always fails.
func Listen(iface string, _ Options) (can.Source, error) { return nil, absent(iface) }

// Interfaces lists none.
func Interfaces() ([]Interface, error) { return nil, nil }

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

// Inspect always fails.
func Inspect(name string) (Health, error) { return Health{}, absent(name) }

// BringUp always fails.
func BringUp(name string, _ Settings) error { return absent(name) }

// TakeDown always fails.
func TakeDown(name string) error { return absent(name) }
