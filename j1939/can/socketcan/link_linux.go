package socketcan

import (
	"encoding/binary"
	"fmt"
	"net"
	"time"

	"github.com/mdlayher/netlink"
	"golang.org/x/sys/unix"
)

// link is what the kernel tells of a CAN interface (RTM_GETLINK, IFLA_LINKINFO; Linux
// include/uapi/linux/can/netlink.h). candevice reads neither the controller's state nor its restart.
type link struct {
	kind      string
	bitRate   uint32
	state     uint32
	known     bool // state was told: there is a controller
	flags     uint32
	restart   time.Duration
	tx, rx    uint16
	busOffs   uint32 // times that the controller left the bus since the interface was made
	restarts  uint32
	busErrors uint32
}

// readLink asks the kernel.
func readLink(name string) (link, error) {
	i, err := net.InterfaceByName(name)
	if err != nil {
		return link{}, err
	}
	c, err := netlink.Dial(unix.NETLINK_ROUTE, nil)
	if err != nil {
		return link{}, err
	}
	defer c.Close()
	head := make([]byte, unix.SizeofIfInfomsg) // struct ifinfomsg: index at byte 4
	binary.NativeEndian.PutUint32(head[4:], uint32(i.Index))
	answers, err := c.Execute(netlink.Message{Data: head, Header: netlink.Header{
		Type: unix.RTM_GETLINK, Flags: netlink.Request | netlink.Acknowledge}})
	if err != nil {
		return link{}, err
	}
	for _, a := range answers {
		if a.Header.Type == unix.RTM_NEWLINK {
			return decodeLink(a.Data)
		}
	}
	return link{}, fmt.Errorf("the kernel told nothing of %s", name)
}

// decodeLink reads the answer: struct ifinfomsg and its attributes.
func decodeLink(data []byte) (l link, err error) {
	if len(data) < unix.SizeofIfInfomsg {
		return l, fmt.Errorf("an answer of %d bytes; at least %d would do", len(data), unix.SizeofIfInfomsg)
	}
	d, err := netlink.NewAttributeDecoder(data[unix.SizeofIfInfomsg:])
	if err != nil {
		return l, err
	}
	for d.Next() {
		if d.Type() == unix.IFLA_LINKINFO {
			d.Nested(l.info)
		}
	}
	return l, d.Err()
}

func (l *link) info(d *netlink.AttributeDecoder) error {
	for d.Next() {
		switch d.Type() {
		case unix.IFLA_INFO_KIND:
			l.kind = d.String()
		case unix.IFLA_INFO_DATA:
			d.Nested(l.controller)
		case unix.IFLA_INFO_XSTATS: // struct can_device_stats
			if b := d.Bytes(); len(b) >= 24 {
				l.busErrors, l.busOffs = word(b, 0), word(b, 12)
				l.restarts = word(b, 20)
			}
		}
	}
	return nil
}

func (l *link) controller(d *netlink.AttributeDecoder) error {
	for d.Next() {
		b := d.Bytes()
		switch {
		case d.Type() == unix.IFLA_CAN_BITTIMING && len(b) >= 4:
			l.bitRate = word(b, 0)
		case d.Type() == unix.IFLA_CAN_STATE && len(b) >= 4:
			l.state, l.known = word(b, 0), true
		case d.Type() == unix.IFLA_CAN_CTRLMODE && len(b) >= 8: // mask, flags
			l.flags = word(b, 4)
		case d.Type() == unix.IFLA_CAN_RESTART_MS && len(b) >= 4:
			l.restart = time.Duration(word(b, 0)) * time.Millisecond
		case d.Type() == unix.IFLA_CAN_BERR_COUNTER && len(b) >= 4:
			l.tx, l.rx = binary.NativeEndian.Uint16(b), binary.NativeEndian.Uint16(b[2:])
		}
	}
	return nil
}

func word(b []byte, at int) uint32 { return binary.NativeEndian.Uint32(b[at:]) }
