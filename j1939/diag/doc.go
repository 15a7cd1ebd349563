// Package diag reads and writes diagnostic messages: SAE J1939-73.
//
// Fault lists: DM1 (active) and the messages of its layout, with lamps, flashing, trouble codes
// (SPN, FMI, conversion method, occurrence count) and the forms that say "no fault". Conversion versions
// 1 to 4 of the SPN are kept apart: with the conversion bit set nothing on the wire tells 1, 2 and 3
// apart, so the reader states which one a source uses (Conversions).
//
//	byte 1   bits 8-7 MIL    6-5 red stop    4-3 amber warning   2-1 protect      lamp
//	byte 2   the same order                                                       flash
//	byte 3+  trouble codes of 4 bytes:
//	         a = SPN 8..1   b = SPN 16..9   c = SPN 19..17, FMI 5..1   d = method, count 7..1
//
// The others, by DecodeMessage or each by its own function: freeze frames (DM4, DM25), readiness (DM5, DM26),
// commanded tests and their results (DM7, DM8, DM10, DM30), stop and start broadcast (DM13), calibrations
// (DM19), how often monitors ran (DM20), clearing one code (DM22), supported parameters (DM24), numbers of
// codes (DM29) and lamps by code (DM31). Written are those that a tool sends: DM7, DM13, DM22, and
// the requests that DM3 and DM11 are.
//
// Not read, because the facts at hand name the groups and not their layout, or contradict each other: DM32
// (41472), DM33 (41216), DM34 (40960; two tables of one source swap the numbers of its areas), DM41 to DM54. DM35
// (40704) is read as a list of DM1's layout on the word of one source.
//
// It does not reassemble messages longer than a frame (transport), sends nothing and asks for none (node).
package diag
