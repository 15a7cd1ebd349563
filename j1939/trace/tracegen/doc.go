// Package tracegen makes the traffic of an imagined vehicle bus, the same bytes for the same
// seed, together with the exact counts that a decoder must find in it: for tests and benchmarks.
//
// On the bus: engine (0) with EEC1, EEC2, DM1 of many codes by BAM and component identification by RTS/CTS to
// a tool (249); exhaust controller (61) with the SCR dosing system, the DEF supply and its own DM1;
// gas sensor (81); DEF tank sensor (163); 11-bit strays, a remote and an error frame; and sessions that
// break: a packet lost, two swapped, silence, a false size, an abort.
//
// Bytes are laid out here by hand and not by the codec under test. Values and names are invented.
package tracegen
