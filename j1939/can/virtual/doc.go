// Package virtual is a CAN bus in memory and in virtual time: the twin of socketcan with which a
// ten-minute bench run takes a fraction of a second and the same inputs give the same bytes.
//
// Time moves only inside Receive (or Bus.Advance), from event to event: the end of a frame on
// the wire, or the Next of an attached can.Process. Nothing sleeps and no clock is read.
//
// What the wire does, after ISO 11898-1 (frame fields as in Linux include/linux/can/length.h):
//   - one frame at a time; a data frame of n bytes takes 67+8n bit times (29-bit identifier) or
//     47+8n (11-bit), interframe space included, a remote frame as one of no data;
//   - each sender keeps its own frames in order, as a Linux transmit queue does; between the
//     senders the arbitration field decides (dominant bit wins), so that an 11-bit identifier
//     beats the 29-bit ones that begin with it, and a data frame its remote frame;
//   - every member but the sender hears the frame, all with one time stamp: its end.
//
// What it does not do: bit stuffing (a real frame takes up to a quarter longer), bit errors, error frames,
// missing acknowledgement, or the collision of two senders that use one identifier (the member
// that joined first goes first).
package virtual
