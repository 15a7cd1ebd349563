//go:build !linux

package socketcan

import (
	"fmt"
	"runtime"

	"holdfast/j1939/can"
)

// Port does not exist here: SocketCAN is a part of Linux.
type Port = can.Absent

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

// Inspect always fails.
func Inspect(name string) (Health, error) { return Health{}, absent(name) }

// BringUp always fails.
func BringUp(name string, _ Settings) error { return absent(name) }

// TakeDown always fails.
func TakeDown(name string) error { return absent(name) }
