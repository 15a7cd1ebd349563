package socketcan

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"

	"holdfast/j1939/can"
)

// filtersMax is the kernel's limit (CAN_RAW_FILTER_MAX).
const filtersMax = 512

// openSocket returns a bound non-blocking raw CAN socket.
func openSocket(iface string, opts Options) (int, error) {
	index, err := find(iface)
	if err != nil {
		return -1, err
	}
	fd, err := unix.Socket(unix.AF_CAN, unix.SOCK_RAW|unix.SOCK_NONBLOCK|unix.SOCK_CLOEXEC, unix.CAN_RAW)
	if err != nil {
		return -1, os.NewSyscallError("socket(PF_CAN, SOCK_RAW, CAN_RAW); is the module can-raw there?", err)
	}
	if err := prepare(fd, index, opts); err != nil {
		unix.Close(fd)
		return -1, err
	}
	return fd, nil
}

// prepare sets everything before it binds, so that no frame is heard unstamped or unfiltered.
func prepare(fd, index int, opts Options) error {
	if err := setFilters(fd, opts.Filters); err != nil {
		return err
	}
	for _, o := range []struct {
		name               string
		level, opt, number int
	}{
		{"CAN_RAW_ERR_FILTER", unix.SOL_CAN_RAW, unix.CAN_RAW_ERR_FILTER, unix.CAN_ERR_MASK},
		{"CAN_RAW_RECV_OWN_MSGS", unix.SOL_CAN_RAW, unix.CAN_RAW_RECV_OWN_MSGS, 0},
		{"SO_TIMESTAMPNS", unix.SOL_SOCKET, unix.SO_TIMESTAMPNS, 1},
		{"SO_RXQ_OVFL", unix.SOL_SOCKET, unix.SO_RXQ_OVFL, 1},
	} {
		if err := unix.SetsockoptInt(fd, o.level, o.opt, o.number); err != nil {
			return os.NewSyscallError("setsockopt "+o.name, err)
		}
	}
	if err := setReceiveBuffer(fd, opts.ReceiveBuffer); err != nil {
		return err
	}
	if err := unix.Bind(fd, &unix.SockaddrCAN{Ifindex: index}); err != nil {
		return classify("bind", err)
	}
	return nil
}

func setFilters(fd int, filters []Filter) error {
	if len(filters) == 0 {
		return nil
	}
	if len(filters) > filtersMax {
		return fmt.Errorf("%d filters; the kernel takes at most %d", len(filters), filtersMax)
	}
	raw := make([]unix.CanFilter, len(filters))
	for i, f := range filters {
		raw[i] = unix.CanFilter{Id: f.ID, Mask: f.Mask | unix.CAN_EFF_FLAG}
		if f.Extended {
			raw[i].Id |= unix.CAN_EFF_FLAG
		}
	}
	err := unix.SetsockoptCanRawFilter(fd, unix.SOL_CAN_RAW, unix.CAN_RAW_FILTER, raw)
	return os.NewSyscallError("setsockopt CAN_RAW_FILTER", err)
}

// setReceiveBuffer asks for more than net.core.rmem_max when it may (CAP_NET_ADMIN). The kernel grants a
// smaller one without an error; what then does not fit is counted as lost.
func setReceiveBuffer(fd, size int) error {
	if size == 0 {
		size = DefaultReceiveBuffer
	}
	if unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RCVBUFFORCE, size) == nil {
		return nil
	}
	err := unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_RCVBUF, size)
	return os.NewSyscallError("setsockopt SO_RCVBUF", err)
}

// classify puts the port's own failure in front of what the kernel said.
func classify(call string, err error) error {
	cause := os.NewSyscallError(call, err)
	switch {
	case errors.Is(err, unix.ENETDOWN), errors.Is(err, unix.ENODEV), errors.Is(err, unix.ENXIO):
		return fmt.Errorf("%w: %w", can.ErrDown, cause)
	case errors.Is(err, unix.ENOBUFS), errors.Is(err, unix.EAGAIN):
		return fmt.Errorf("%w: %w", can.ErrBusy, cause)
	}
	return cause
}
