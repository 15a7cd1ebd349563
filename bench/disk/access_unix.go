//go:build unix

package disk

import "golang.org/x/sys/unix"

// Writable reports whether this process may write a file or a folder that is there.
func Writable(path string) bool { return unix.Access(path, unix.W_OK) == nil }
