// Package watch listens on a vehicle and reports what the DEF supply unit does on it: it follows the
// aftertreatment parameters of SAE J1939-71 on a bus or in a recording, derives what a workshop asks (did
// it prime, does it hold its pressure while dosing, how much drive does that take, was the line emptied at
// key-off), and turns that into findings with their evidence.
//
// A Watcher is fed frames in the order they were heard. It cannot send. It reads
// no clock (time is that of the frames, or what Advance is told) and keeps bounded memory however long it
// listens.
//
// What it follows stands in table.go; the parameters and their scales come from j1939/spn. Two
// aftertreatment banks are followed, and every parameter by bank, channel and source address. A unit is
// what sends the group 61475 (bank 1) or 61478 (bank 2).
//
// What it does not do: it knows no unit maker's limits. Its own thresholds (limits.go) are common practice
// with no source, or examples for the invented reference unit, and every finding words how sure it can be
// with 8 kPa and 0.4 % to a bit. A finding never condemns a part: it says what to look at.
package watch
