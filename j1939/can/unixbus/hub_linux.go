package unixbus

import (
	"os"

	"golang.org/x/sys/unix"

	"holdfast/j1939/clock"
)

// hub carries a bus: it takes what one member sends, gives it its time and hands it to all others, in one order for
// all. It lives in one goroutine until its owner, the port of the process that made it, is closed.
type hub struct {
	// Immutable.
	path     string
	socket   os.FileInfo // of path, to take away no other's
	base     clock.Instant
	listener int
	done     chan struct{}

	// The goroutine's own.
	members []*member // the owner is the first
	polled  []unix.PollFd
	last    clock.Instant // stamp of the frame before
	raw     [2 * heardSize]byte
}

// member is the hub's end of a connection.
type member struct {
	fd   int
	lost uint64 // frames that found no room
	gone bool
}

// turnMax is how many frames one member is heard for before the others have their turn.
const turnMax = 64

// newHub starts carrying a bus and returns the owner's end of its connection.
func newHub(path string, listener int, base clock.Instant) (*hub, int, error) {
	pair, err := unix.Socketpair(unix.AF_UNIX, unix.SOCK_SEQPACKET|unix.SOCK_CLOEXEC|unix.SOCK_NONBLOCK, 0)
	if err != nil {
		return nil, -1, os.NewSyscallError("socketpair", err)
	}
	widen(pair[0])
	widen(pair[1])
	h := &hub{path: path, base: base, listener: listener, done: make(chan struct{}),
		members: []*member{{fd: pair[1]}}}
	h.socket, _ = os.Lstat(path)
	go h.carry()
	return h, pair[0], nil
}

// carry runs the bus until the owner has left.
func (h *hub) carry() {
	defer close(h.done)
	defer h.end()
	for !h.members[0].gone {
		if !h.wait() {
			return
		}
		if h.polled[0].Revents != 0 {
			h.admit()
		}
		for i, p := range h.polled[1:] { // whoever was admitted just now has its first turn next time
			if p.Revents != 0 {
				h.hear(h.members[i])
			}
		}
		h.sweep()
	}
}

// wait returns when somebody joins, sends or leaves.
func (h *hub) wait() bool {
	h.polled = append(h.polled[:0], unix.PollFd{Fd: int32(h.listener), Events: unix.POLLIN})
	for _, m := range h.members {
		h.polled = append(h.polled, unix.PollFd{Fd: int32(m.fd), Events: unix.POLLIN})
	}
	for {
		if _, err := unix.Ppoll(h.polled, nil, nil); err != unix.EINTR {
			return err == nil
		}
	}
}

// admit takes whoever waits into the bus. One too many, or one that has no room for a greeting, is turned
// away.
func (h *hub) admit() {
	fd, _, err := unix.Accept4(h.listener, unix.SOCK_CLOEXEC|unix.SOCK_NONBLOCK)
	if err != nil {
		return
	}
	var greeting [heardSize]byte
	putGreeting(&greeting, h.base)
	if len(h.members) > MembersMax {
		_ = unix.Close(fd)
		return
	}
	widen(fd)
	if _, err := unix.Write(fd, greeting[:]); err != nil {
		_ = unix.Close(fd)
		return
	}
	h.members = append(h.members, &member{fd: fd})
}

// hear takes what a member has sent and relays it. A member that has left, or that sends what is no frame, is
// off the bus.
func (h *hub) hear(m *member) {
	for range turnMax {
		n, err := unix.Read(m.fd, h.raw[:])
		switch {
		case err == unix.EAGAIN:
			return
		case err == unix.EINTR, err == unix.ECONNRESET: // told before what it has sent; that still counts
			continue
		case err != nil || n == 0:
			m.gone = true
			return
		}
		f, sent, err := takeSent(h.raw[:n])
		if err != nil {
			m.gone = true
			return
		}
		putFrame(h.raw[:], &f)
		h.relay(m, sent)
	}
}

// relay hands the frame in raw to everybody but its sender, unless it has waited too long. Its time is when it
// was sent, for what it has waited here it would not have waited on a wire; but times never go back, and a time
// that is still to come is not believed.
func (h *hub) relay(from *member, sent clock.Instant) {
	now := h.base.Add(boottime())
	late := now.Sub(sent) > oldest
	at := min(max(sent, h.last), now)
	h.last = at
	for _, m := range h.members {
		switch {
		case m == from || m.gone:
			continue
		case late:
			m.lost++
			continue
		}
		putHeard(h.raw[:], at, m.lost)
		switch _, err := unix.Write(m.fd, h.raw[:heardSize]); err {
		case nil:
		case unix.EPIPE, unix.ECONNRESET: // it has left: what it sent before is still to be heard
		default:
			m.lost++
		}
	}
}

// sweep forgets who is off the bus. The owner stays, to be seen by carry.
func (h *hub) sweep() {
	left := h.members[:1]
	for _, m := range h.members[1:] {
		if m.gone {
			_ = unix.Close(m.fd)
			continue
		}
		left = append(left, m)
	}
	clear(h.members[len(left):])
	h.members = left
}

// end closes the bus: every member is told by the end of its connection.
func (h *hub) end() {
	if now, err := os.Lstat(h.path); err == nil && os.SameFile(now, h.socket) {
		_ = os.Remove(h.path)
	}
	_ = unix.Close(h.listener)
	for _, m := range h.members {
		_ = unix.Close(m.fd)
	}
}
