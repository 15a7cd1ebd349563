// Package trace turns frames into J1939 messages and messages into lines: the streaming
// path behind "holdfast decode".
//
//	frames -> Decoder (identifier, transport) -> Message -> JSON line, text line or Summary
//
// Every 29-bit data frame is one message, the frames of the transport protocol among them; a message
// that several frames carried is one more. Frames of 11 bits, remote frames and error frames
// are counted and not shown. In steady state nothing is allocated for a frame.
//
// It reads no file and opens no interface: a can.Source does. It sends nothing.
package trace
