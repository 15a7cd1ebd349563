//go:build !linux

package unixbus

import (
	"fmt"
	"runtime"

	"holdfast/j1939/can"
)

// Port does not exist here: the clock that all members of a bus share is one of Linux.
type Port = can.Absent

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
