// Package dbc reads a person's own signals from a DBC file and takes them out of J1939 messages: unsigned,
// signed and floating point, both byte orders, one level of multiplexing, value tables.
//
// A message of the file stands for a parameter group: priority and destination of its identifier do not
// matter. Its source address matters, unless it is 254, which no sender has and which files write for "any".
//
// A DBC file says nothing of error indicators and of "not available". A raw value whose physical value is
// outside the limits of its signal (where it has any) is therefore no number here: all ones are not
// available, anything else is out of range.
//
// Parsing is done by go.einride.tech/can/pkg/dbc. Not read: messages with 11-bit identifiers (counted),
// several levels of multiplexing (refused by the parser with its place), everything else that a file may hold
// beside messages, signals and value tables.
package dbc
