// Package transport carries messages longer than a frame: SAE J1939-21, transport protocol (TP: PGN
// 60416 and 60160, 9 to 1785 bytes), and ISO 11783-3, extended transport protocol (ETP: PGN 51200 and 50944,
// to 117440505 bytes). Layouts, timers and abort reasons as in Linux net/can/j1939, AgIsoStack++ and
// sae-j1939-rs; what is from memory says so. All of it is pure state machines, stepped with frames and times.
//
// Receiver is the listener's half: it reassembles what other nodes broadcast (BAM) and what they send each
// other (RTS/CTS, ETP) and sends nothing, so that a tool that may only listen can use it. Memory is bounded: one
// broadcast a source and a few conversations a source, and MaxHeardAll for all extended messages together; a
// flood costs the flooder's own sessions only. It does not follow an extended message above MaxHeard.
//
// Endpoint takes part, for one address: it sends broadcasts, and holds conversations in both directions with
// any number of nodes at once. A receiver of ours asks for lost packets again by CTS (at most twice), which
// the standard allows and does not demand. What it does not do: claim the address (package claim), read a
// clock or touch a bus (package node), or receive broadcasts (Receiver does).
package transport
