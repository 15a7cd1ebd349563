package socketcan

import (
	"encoding/binary"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/mdlayher/netlink"
	"go.einride.tech/can/pkg/candevice"
	"golang.org/x/sys/unix"
)

var stateNames = map[uint32]string{candevice.StateErrorActive: "error-active",
	candevice.StateErrorWarning: "error-warning", candevice.StateErrorPassive: "error-passive", candevice.StateBusOff: "bus-off",
	candevice.StateStopped: "stopped", candevice.StateSleeping: "sleeping"}

// Inspect reads how an interface is. The error is can.ErrMissing (with what exists) when there is none.
func Inspect(name string) (Health, error) {
	d, err := device(name)
	if err != nil {
		return Health{}, err
	}
	up, err := d.IsUp()
	if err != nil {
		return Health{}, fmt.Errorf("inspect %s: %w", name, err)
	}
	l, err := readLink(name)
	if err != nil {
		return Health{}, fmt.Errorf("inspect %s: %w", name, err)
	}
	h := Health{Name: name, Kind: l.kind, Up: up}
	if l.known {
		h.State, h.BitRate, h.Restart = stateNames[l.state], int(l.bitRate), l.restart
		h.ListenOnly = l.flags&unix.CAN_CTRLMODE_LISTENONLY != 0
		h.TxErrors, h.RxErrors = int(l.tx), int(l.rx)
		h.BusOffs, h.Restarts = int(l.busOffs), int(l.restarts)
	}
	h.Received, h.Sent = counter(name, "rx_packets"), counter(name, "tx_packets")
	h.Dropped = counter(name, "rx_dropped") + counter(name, "tx_dropped")
	h.Errors = counter(name, "rx_errors") + counter(name, "tx_errors")
	return h, nil
}

// counter reads one of the kernel's statistics; 0 when it is not there.
func counter(name, what string) uint64 {
	text, err := os.ReadFile(filepath.Join("/sys/class/net", filepath.Base(name), "statistics", what))
	if err != nil {
		return 0
	}
	n, _ := strconv.ParseUint(strings.TrimSpace(string(text)), 10, 64)
	return n
}

// device finds a CAN interface, up or not.
func device(name string) (*candevice.Device, error) {
	have, err := Interfaces()
	if err != nil {
		return nil, err
	}
	for _, i := range have {
		if i.Name == name {
			d, err := candevice.New(name)
			if err != nil {
				return nil, fmt.Errorf("inspect %s: %w", name, err)
			}
			return d, nil
		}
	}
	return nil, missing(name, have)
}

// BringUp takes an interface down, sets its controller and brings it up. It needs CAP_NET_ADMIN. A virtual
// interface has no controller and is only brought up.
func BringUp(name string, s Settings) error {
	d, err := device(name)
	if err != nil {
		return err
	}
	info, err := d.Info()
	if err != nil {
		return fmt.Errorf("bring %s up: %w", name, err)
	}
	if info.Type == candevice.CanLinkType {
		err = set(d, name, s)
	} else if s.BitRate != 0 || s.ListenOnly {
		return fmt.Errorf("bring %s up: it is virtual and has no bit rate and no listen-only mode", name)
	}
	if err == nil {
		err = d.SetUp()
	}
	if err != nil {
		return fmt.Errorf("bring %s up: %w", name, permitted(err))
	}
	return nil
}

// set changes the controller, which the kernel allows only while the interface is down.
func set(d *candevice.Device, name string, s Settings) error {
	if err := d.SetDown(); err != nil {
		return err
	}
	if s.BitRate != 0 {
		if err := d.SetBitrate(uint32(s.BitRate)); err != nil {
			return fmt.Errorf("set %d bit/s: %w", s.BitRate, err)
		}
	}
	err := d.SetListenOnlyMode(s.ListenOnly)
	if err != nil && (s.ListenOnly || !errors.Is(err, unix.EOPNOTSUPP)) {
		return fmt.Errorf("set listen-only: %w", err)
	}
	if err := setRestart(name, s.Restart); err != nil {
		return fmt.Errorf("set the restart after bus-off: %w", err)
	}
	return nil
}

// setRestart sets restart-ms (IFLA_CAN_RESTART_MS), which candevice does not.
func setRestart(name string, after time.Duration) error {
	i, err := net.InterfaceByName(name)
	if err != nil {
		return err
	}
	e := netlink.NewAttributeEncoder()
	e.Nested(unix.IFLA_LINKINFO, func(e *netlink.AttributeEncoder) error {
		e.String(unix.IFLA_INFO_KIND, candevice.CanLinkType)
		e.Nested(unix.IFLA_INFO_DATA, func(e *netlink.AttributeEncoder) error {
			e.Uint32(unix.IFLA_CAN_RESTART_MS, uint32((after+time.Millisecond-1)/time.Millisecond))
			return nil
		})
		return nil
	})
	attributes, err := e.Encode()
	if err != nil {
		return err
	}
	head := make([]byte, unix.SizeofIfInfomsg) // struct ifinfomsg: index at byte 4
	binary.NativeEndian.PutUint32(head[4:], uint32(i.Index))
	c, err := netlink.Dial(unix.NETLINK_ROUTE, nil)
	if err != nil {
		return err
	}
	defer c.Close()
	_, err = c.Execute(netlink.Message{Data: append(head, attributes...), Header: netlink.Header{
		Type: unix.RTM_NEWLINK, Flags: netlink.Request | netlink.Acknowledge}})
	return err
}

// TakeDown takes an interface down. It needs CAP_NET_ADMIN.
func TakeDown(name string) error {
	d, err := device(name)
	if err != nil {
		return err
	}
	if err := d.SetDown(); err != nil {
		return fmt.Errorf("take %s down: %w", name, permitted(err))
	}
	return nil
}

// permitted says what is missing when the kernel says no.
func permitted(err error) error {
	if errors.Is(err, unix.EPERM) || errors.Is(err, unix.EACCES) {
		return fmt.Errorf("%w: it needs root or CAP_NET_ADMIN", err)
	}
	return err
}
