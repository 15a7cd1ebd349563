// Package socketcan is the CAN bus of a Linux interface: a PF_CAN raw socket
// (Linux Documentation/networking/can.rst).
//
// The socket is our own and not the one of go.einride.tech/can, because that one has neither the kernel's
// receive time stamps (SO_TIMESTAMPNS) nor the count of frames the kernel dropped (SO_RXQ_OVFL), and a
// measurement needs both: a time stamp that does not depend on when we were scheduled, and
// the knowledge that no frame is missing. The frame type is einride's.
//
// Time: Now and the stamps are CLOCK_REALTIME as it was at Open, carried on by CLOCK_BOOTTIME: setting
// the computer's clock during a run moves no deadline and no measured time.
//
// Loss: Stats.Lost is what the kernel dropped because nobody read it in time, plus one for every overflow
// that the controller reports in an error frame (it does not tell how many frames that cost). The kernel
// tells a drop with the next frame it queues, so a drop after the last frame heard is not counted until
// another one comes. Frames that never reached the controller are not known here: who needs to see them
// watches the senders' rates.
//
// Lost bus: once the interface was down or gone, the port answers can.ErrDown until it is opened again,
// also when the interface has come back: what was missed in between is unknown.
//
// What it does not do: CAN FD and CAN XL (the socket is not given them), bit rate and other settings of
// the interface (ip link set can0 up type can bitrate 250000), hardware time stamps. A Listener sends
// no frame, but the controller still acknowledges what others send; a controller that is silent to the
// last bit is set by ip link set can0 type can listen-only on.
package socketcan

// Filter lets a frame through when its identifier equals ID in the bits that are 1 in Mask and its
// format is that of the filter. An error frame passes every filter.
type Filter struct {
	ID, Mask uint32
	Extended bool // 29-bit identifier; false: 11-bit
}

// Options of a socket. The zero value hears everything.
type Options struct {
	// Frames that pass one of the filters are heard; none: all frames. At most 512 (CAN_RAW_FILTER_MAX).
	Filters []Filter
	// Bytes asked of the kernel for frames not yet read; 0: DefaultReceiveBuffer.
	ReceiveBuffer int
}

// DefaultReceiveBuffer is asked for unless Options says otherwise. The kernel doubles it (socket(7))
// and charges 768 bytes for a frame (measured on Linux 6.1), so that it holds more than ten seconds of
// a full 250 kbit/s bus. Without CAP_NET_ADMIN the kernel limits it to net.core.rmem_max.
const DefaultReceiveBuffer = 8 << 20

// Interface is a CAN interface of this computer.
type Interface struct {
	Name string
	Up   bool
}
