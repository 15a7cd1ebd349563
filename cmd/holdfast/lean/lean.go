// Package lean keeps the memory of a long-running command small: what decoding a recording of any length needs
// is a few MiB, while the start of all the packages of this program touches some 16 MiB of its file once.
//
// The program's own code and constants are read-only and come back from the page cache when they are needed, so
// GiveBackCode loses nothing. It is called when this package is initialised, and again by the commands that care.
// Go initialises packages in the order of their import paths as far as their imports allow it (go1.21 release
// notes), so that this one stands about in the middle of the start: the peak of the whole start is then not the
// sum of all of it. Were the order another one, the peak would be higher, and nothing else would differ; a test
// of the command line holds it (TestDecode_PeakMemory).
//
// It frees no memory of the heap and knows nothing of what the program does.
package lean

import "runtime/debug"

func init() { GiveBackCode() }

// garbage is how much garbage may come on top of what is in use, in per cent. Decoding makes none in its steady
// state, so that this costs nothing; the start and the report make some.
const garbage = 40

// Begin makes the program keep as little memory as it needs, until the function that it returns is called.
func Begin() (end func()) {
	GiveBackCode()
	before := debug.SetGCPercent(garbage)
	return func() { debug.SetGCPercent(before) }
}
