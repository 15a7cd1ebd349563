// Package unixbus is a CAN bus between processes of one computer that has no CAN interface, not even a vcan
// one: a unix socket at a path (unix(7), SOCK_SEQPACKET), with the frames of struct can_frame in it. Whoever
// attaches first makes the bus and carries it; it is gone when that process is gone, however it ended.
// Everybody else joins it, speaks and hears as on a wire, and may be killed without harm to the bus.
//
// What goes over the socket, all numbers little endian:
//
//	greeting, once to whoever joins (32 bytes):   0..15 "holdfast-bus/1" and zeros | 16..23 base | 24..31 0
//	frame, from a member to the bus (24 bytes):   0..3 identifier and flags | 4 length | 5..7 0 | 8..15 data |
//	                                              16..23 time at which it was sent
//	frame, from the bus to a member (32 bytes):   the same 16 | 16..23 time | 24..31 frames lost so far
//
// Identifier and flags are those of Linux include/uapi/linux/can.h: bit 31 extended, bit 30 remote. A member
// that sends anything else is put off the bus.
//
// Time: the bus's time is the clock of the computer when the bus was made (base, as nanoseconds since 1970
// at boot), carried on by CLOCK_BOOTTIME. All members share it, and setting the computer's clock does not
// move it. A frame's time is when it was sent, but never before that of a frame which was handed on earlier.
//
// Loss: what the kernel does not hold for a member that does not read is dropped and counted; the count comes
// with the next frame, as with SO_RXQ_OVFL. So is a frame that the process which carries the bus finds older
// than 100 ms, because it stood still: a wire keeps nothing, and no bench may obey a command from back then.
//
// What it does not do: arbitration, wire time, acknowledgement, error frames, CAN FD; a frame that is sent
// where nobody else is joined is gone. It is no way to another computer, and only processes of the same
// user may join.
package unixbus

// Prefix marks the name of such a bus on the command line: unix:PATH.
const Prefix = "unix:"

// MembersMax is how many processes one bus carries beside the one that made it.
const MembersMax = 32
