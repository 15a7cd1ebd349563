// Package controller reads and sets how a CAN controller of this computer takes part in its bus: bit rate
// and listen-only mode, through the kernel's netlink interface (Linux Documentation/networking/can.rst,
// "Netlink interface to set/get devices properties").
//
// Listen-only mode is the controller's own: it sends no dominant bit, not even the acknowledgement. A
// virtual interface has no such mode and no bit rate. Setting needs the right to administer the network
// (CAP_NET_ADMIN) and takes the interface down for a moment.
//
// What it does not do: FD rates, sample points (the kernel chooses), anything outside Linux.
package controller

import "errors"

// State is how an interface is set.
type State struct {
	Name       string
	Virtual    bool // vcan or vxcan: neither a bit rate nor a listen-only mode
	Up         bool
	BitRate    int // bit/s; 0 on a virtual interface and where none was ever set
	ListenOnly bool
}

// ErrNotAllowed says that this process may not set the interface.
var ErrNotAllowed = errors.New("not allowed to set the interface (needs CAP_NET_ADMIN)")

// ErrNotSupported says that the interface has no listen-only mode, or that this is no Linux.
var ErrNotSupported = errors.New("the interface has no listen-only mode")
