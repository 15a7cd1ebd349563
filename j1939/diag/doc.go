// Package diag reads and writes diagnostic messages: SAE J1939-73.
//
// Here: the fault lists, that is DM1 (active) and the messages of the same layout, with their
// lamps, flashing, trouble codes (SPN, FMI, conversion method, occurrence count) and the forms
// that say "no fault". Conversion versions 1 to 4 of the SPN are kept apart: with the conversion bit
// set nothing on the wire tells 1, 2 and 3 apart, so the reader states which one a source uses.
//
//	byte 1   bits 8-7 MIL    6-5 red stop    4-3 amber warning   2-1 protect      lamp
//	byte 2   the same order                                                       flash
//	byte 3+  trouble codes of 4 bytes:
//	         a = SPN 8..1   b = SPN 16..9   c = SPN 19..17, FMI 5..1   d = method, count 7..1
//
// It does not reassemble messages longer than a frame (transport) and asks for none.
package diag
