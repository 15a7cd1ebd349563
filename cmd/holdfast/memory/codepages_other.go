//go:build !linux

package memory

// GiveBackCodePages does nothing here.
func GiveBackCodePages() {}
