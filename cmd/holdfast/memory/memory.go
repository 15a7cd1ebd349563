// Package memory keeps the memory of a long-running command small. Decoding a recording of any length needs a few MiB,
// but starting all the packages of this program touches some 16 MiB of its file once.
//
// The program's code and constants are read-only: the kernel can take their pages back and reads them again from the
// page cache when they are needed. GiveBackCodePages asks for that, so it loses nothing. It is called when this package is
// initialised, and again by commands that want to stay small. Go initialises packages in the order of their import paths
// as far as imports allow (go1.21 release notes), so this call comes about half-way through the start and halves its
// peak; TestDecode_PeakMemory of the command line holds that.
//
// It frees no heap memory and knows nothing of what the program does.
package memory

import "runtime/debug"

func init() { GiveBackCodePages() }

// garbage is how much garbage may come on top of what is in use, in per cent. Decoding makes none in its steady
// state, so that this costs nothing; the start and the report make some.
const garbage = 40

// KeepSmall makes the program keep as little memory as it needs, until the function that it returns is called.
func KeepSmall() (end func()) {
	GiveBackCodePages()
	before := debug.SetGCPercent(garbage)
	return func() { debug.SetGCPercent(before) }
}
