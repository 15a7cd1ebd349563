//go:build !linux

package controller

import "fmt"

// Read always fails here: SocketCAN is a part of Linux.
func Read(name string) (State, error) {
	return State{}, fmt.Errorf("read the settings of %s: SocketCAN needs Linux", name)
}

// Listen always fails here.
func Listen(name string, _ int) error {
	return fmt.Errorf("set %s listen-only: %w", name, ErrNotSupported)
}
