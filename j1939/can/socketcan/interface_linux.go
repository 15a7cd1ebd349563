package socketcan

import (
	"fmt"
	"net"
	"strings"

	"golang.org/x/sys/unix"

	"holdfast/j1939/can"
)

// bringUp is the advice in errors.
const bringUp = "ip link set %s up type can bitrate 250000 (for a virtual one: ip link set %[1]s up)"

// Interfaces lists the CAN interfaces of this computer, up or not, in the kernel's order.
func Interfaces() ([]Interface, error) {
	all, err := net.Interfaces()
	if err != nil {
		return nil, fmt.Errorf("list network interfaces: %w", err)
	}
	fd, err := unix.Socket(unix.AF_INET, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, 0)
	if err != nil {
		return nil, fmt.Errorf("list CAN interfaces: %w", err)
	}
	defer unix.Close(fd)
	var found []Interface
	for _, i := range all {
		if isCAN(fd, i.Name) {
			found = append(found, Interface{Name: i.Name, Up: i.Flags&net.FlagUp != 0})
		}
	}
	return found, nil
}

// isCAN asks the kernel for the link type (ARPHRD_CAN), which stands where a hardware address's family would.
func isCAN(fd int, name string) bool {
	request, err := unix.NewIfreq(name)
	if err != nil {
		return false
	}
	if err := unix.IoctlIfreq(fd, unix.SIOCGIFHWADDR, request); err != nil {
		return false
	}
	return request.Uint16() == unix.ARPHRD_CAN
}

// find returns the index of a CAN interface that is up.
func find(name string) (int, error) {
	have, err := Interfaces()
	if err != nil {
		return 0, err
	}
	for _, i := range have {
		if i.Name != name {
			continue
		}
		if !i.Up {
			return 0, fmt.Errorf("%w: %s is not up; bring it up with: "+bringUp, can.ErrDown, name, name)
		}
		found, err := net.InterfaceByName(name)
		if err != nil { // gone since it was listed
			return 0, fmt.Errorf("%w: %w", can.ErrDown, err)
		}
		return found.Index, nil
	}
	return 0, missing(name, have)
}

// missing says what there is instead, and what would do.
func missing(name string, have []Interface) error {
	if other, err := net.InterfaceByName(name); err == nil {
		return fmt.Errorf("%w for CAN: %s is a network interface of another kind; %s",
			can.ErrMissing, other.Name, listed(have))
	}
	return fmt.Errorf("%w: %q; %s", can.ErrMissing, name, listed(have))
}

func listed(have []Interface) string {
	if len(have) == 0 {
		return "this computer has no CAN interface: plug in an adapter that SocketCAN supports, " +
			"or make a virtual one: ip link add dev vcan0 type vcan && ip link set vcan0 up"
	}
	var names []string
	for _, i := range have {
		state := " (down)"
		if i.Up {
			state = ""
		}
		names = append(names, i.Name+state)
	}
	return "CAN interfaces here: " + strings.Join(names, ", ")
}
