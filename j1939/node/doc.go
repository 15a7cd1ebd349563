// Package node is a whole participant of a J1939 bus: address claim (package claim), transport in both
// directions (package transport), requests and acknowledgments (J1939-21), and who else is there. It is the
// one place that drives these machines.
//
// Node is pure as they are: a can.Process, stepped with frames and times, so that virtual.Bus runs it in
// virtual time. Link runs one on a real port; can.Source.Receive is its only wait, so it needs no goroutine.
//
// Acknowledgment: byte 1 control (0 positive, 1 negative, 2 access denied, 3 cannot respond now), byte 5 the
// address acknowledged, bytes 6 to 8 the PGN; sent to everybody in current practice, and taken from whichever
// address it went to (an open emissions test program, its issue 1051). From memory: a request is given up
// after 1.25 s.
//
// What it does not do: periodic messages, proprietary groups, DM13 stop and start, working set members.
package node
