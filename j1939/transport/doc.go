// Package transport carries messages longer than a frame: SAE J1939-21, transport protocol
// (TP: PGN 60416 and 60160, 9 to 1785 bytes).
//
// Receiver is the listener's half: it reassembles what other nodes broadcast (BAM) and what
// they send each other (RTS/CTS), as a pure state machine that is stepped with frames and times and
// sends nothing, so that a tool that may only listen can use it. Memory is bounded: one broadcast a source
// and a few conversations a source; a flood costs the flooder's own sessions only.
//
// It answers nobody: taking part in a conversation is a session's job, beside this file. It does
// not reassemble the extended protocol (ETP: PGN 51200 and 50944); its frames pass as Foreign.
package transport
