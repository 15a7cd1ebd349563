// Package ident reads what controllers say of themselves: component (PGN 65259), software (65242),
// ECU (64965), vehicle (65260) and hours (65253). SAE J1939-71.
//
//	component, ECU   fields that each end in '*'; a field with nothing in it is just '*'
//	software         byte 1 the number of fields, then fields that each end in '*'
//	vehicle          the identification number, then '*'
//	hours            bytes 1 to 4 hours (0.05 h a bit), bytes 5 to 8 revolutions (1000 a bit)
//
// The text is ISO Latin 1. What controllers send is not always text: a missing last '*', padding of
// zeros, ones or spaces, and bytes that are no characters are met and shown, never dropped in silence.
//
// It asks nobody (node does) and does not reassemble (transport does).
package ident
