package socketcan

import "time"

// Health is how an interface and its controller are.
type Health struct {
	Name    string
	Kind    string // can, vcan, vxcan
	Up      bool
	BitRate int // bit/s; 0 for a virtual interface

	State      string // error-active, error-warning, error-passive, bus-off, stopped, sleeping; "" for a virtual one
	ListenOnly bool
	Restart    time.Duration // after bus-off the controller comes back by itself; 0: it does not
	TxErrors   int           // error counters of ISO 11898-1, 0..255 (256 and more: bus-off)
	RxErrors   int

	// Since the interface was made: how often the controller left the bus and came back, and frames.
	BusOffs, Restarts               int
	Received, Sent, Dropped, Errors uint64
}

// Settings of a controller.
type Settings struct {
	BitRate    int           // bit/s; 0 leaves it as it is
	ListenOnly bool          // the controller sends nothing, not even an acknowledgement
	Restart    time.Duration // come back so long after bus-off; 0: do not. Rounded up to 1 ms.
}
