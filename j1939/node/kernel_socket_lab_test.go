//go:build lab

package node_test

import (
	"encoding/binary"
	"net"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"

	"holdfast/j1939/id"
	"holdfast/j1939/transport"
)

// Constants of Linux include/uapi/linux/can/j1939.h that golang.org/x/sys/unix does not have.
const (
	solJ1939        = unix.SOL_CAN_BASE + unix.CAN_J1939
	optErrqueue     = 4 // SO_J1939_ERRQUEUE, and the control message
	infoTxAbort     = 1 // J1939_EE_INFO_TX_ABORT
	infoRxAbort     = 4 // J1939_EE_INFO_RX_ABORT
	statPGN         = 3 // J1939_NLA_PGN
	statSource      = 6
	statDestination = 7
	tstampAck       = 2       // SCM_TSTAMP_ACK
	noPGN           = 0x40000 // J1939_NO_PGN: every group
)

// errnos of the kernel's own table from abort reasons (net/can/j1939/transport.c).
var errnos = map[transport.Reason]unix.Errno{
	transport.AlreadyInSession: unix.EALREADY, transport.ResourcesNeeded: unix.EMSGSIZE,
	transport.Timeout: unix.EHOSTUNREACH, transport.ClearWhileSending: unix.EBADMSG,
	transport.RetransmitLimit: unix.ENOTRECOVERABLE, transport.UnexpectedData: unix.ENOTCONN,
	transport.BadSequence: unix.EILSEQ,
}

func errnoOf(r transport.Reason) unix.Errno {
	if e, ok := errnos[r]; ok {
		return e
	}
	return unix.EPROTO // all others
}

// kernelSocket is one address of the kernel's own stack.
type kernelSocket struct {
	fd      int
	index   int
	address uint8
	sent    uint32 // messages that the kernel took
}

// kernelEvent is one entry of the socket's error queue: the end of a session.
type kernelEvent struct {
	sent         bool         // of a message that this socket sent
	number       uint32       // of that one, from 0
	conversation conversation // of one that it received
	errno        unix.Errno
}

func openKernel(t *testing.T, iface string, address uint8) *kernelSocket {
	t.Helper()
	i, err := net.InterfaceByName(iface)
	require.NoError(t, err)
	fd, err := unix.Socket(unix.AF_CAN, unix.SOCK_DGRAM|unix.SOCK_CLOEXEC, unix.CAN_J1939)
	require.NoError(t, err, "the kernel's J1939 is missing")
	// Close waits for sessions that are still under way, which must not hold up the report.
	t.Cleanup(func() { go func() { _ = unix.Close(fd) }() })
	const stamps = unix.SOF_TIMESTAMPING_SOFTWARE | unix.SOF_TIMESTAMPING_OPT_CMSG | unix.SOF_TIMESTAMPING_TX_ACK |
		unix.SOF_TIMESTAMPING_TX_SCHED | unix.SOF_TIMESTAMPING_OPT_STATS | unix.SOF_TIMESTAMPING_OPT_TSONLY |
		unix.SOF_TIMESTAMPING_OPT_ID | unix.SOF_TIMESTAMPING_RX_SOFTWARE
	for _, o := range [][3]int{
		{unix.SOL_SOCKET, unix.SO_BROADCAST, 1},
		{unix.SOL_SOCKET, unix.SO_RCVBUFFORCE, 32 << 20},
		{unix.SOL_SOCKET, unix.SO_SNDBUFFORCE, 4 << 20},
		{unix.SOL_SOCKET, unix.SO_TIMESTAMPING, stamps},
		{solJ1939, optErrqueue, 1},
	} {
		require.NoError(t, unix.SetsockoptInt(fd, o[0], o[1], o[2]))
	}
	require.NoError(t, unix.Bind(fd, &unix.SockaddrCANJ1939{Ifindex: i.Index, PGN: noPGN, Addr: address}))
	return &kernelSocket{fd: fd, index: i.Index, address: address}
}

// send gives the kernel a message, and returns the number that its event will have. The error of the call may be
// that of the session before it, which is told with that one's event, too.
func (k *kernelSocket) send(pgn uint32, to uint8, data []byte) (number uint32, err error) {
	for range 4 {
		err = unix.Sendto(k.fd, data, 0, &unix.SockaddrCANJ1939{Ifindex: k.index, PGN: pgn, Addr: to})
		if err == nil {
			k.sent++
			return k.sent - 1, nil
		}
	}
	return 0, err
}

// wait returns when something is to be read, at the latest after d.
func (k *kernelSocket) wait(d time.Duration) {
	polled := []unix.PollFd{{Fd: int32(k.fd), Events: unix.POLLIN | unix.POLLERR}}
	_, _ = unix.Poll(polled, int(d.Milliseconds()))
}

// receive takes one message that is there.
func (k *kernelSocket) receive(buf []byte) (data []byte, from *unix.SockaddrCANJ1939, ok bool) {
	n, sender, err := unix.Recvfrom(k.fd, buf, unix.MSG_DONTWAIT)
	if err != nil {
		return nil, nil, false
	}
	return buf[:n], sender.(*unix.SockaddrCANJ1939), true
}

// destination is where a message of a group went that this socket received.
func (k *kernelSocket) destination(pgn uint32) uint8 {
	if id.IsPDU1(pgn) {
		return k.address
	}
	return id.Global
}

// event takes one entry of the error queue that tells the end of a session.
func (k *kernelSocket) event() (kernelEvent, bool) {
	var oob [1024]byte
	for {
		_, n, _, _, err := unix.Recvmsg(k.fd, nil, oob[:], unix.MSG_ERRQUEUE|unix.MSG_DONTWAIT)
		if err != nil {
			return kernelEvent{}, false
		}
		if e, end := parseEvent(oob[:n]); end {
			return e, true
		}
	}
}

func parseEvent(oob []byte) (e kernelEvent, end bool) {
	messages, err := unix.ParseSocketControlMessage(oob)
	if err != nil {
		return e, false
	}
	for _, m := range messages {
		switch {
		case m.Header.Level == solJ1939 && m.Header.Type == optErrqueue && len(m.Data) >= 16:
			errno := int32(binary.NativeEndian.Uint32(m.Data))
			info := binary.NativeEndian.Uint32(m.Data[8:])
			e.number = binary.NativeEndian.Uint32(m.Data[12:])
			switch origin := m.Data[4]; {
			case origin == unix.SO_EE_ORIGIN_TIMESTAMPING && info == tstampAck:
				e.sent, end = true, true
			case origin == unix.SO_EE_ORIGIN_LOCAL && (info == infoTxAbort || info == infoRxAbort):
				e.sent, e.errno, end = info == infoTxAbort, unix.Errno(max(errno, -errno)), true
			}
		case m.Header.Level == unix.SOL_SOCKET && m.Header.Type == unix.SCM_TIMESTAMPING_OPT_STATS:
			parseStats(m.Data, &e)
		}
	}
	return e, end
}

func parseStats(b []byte, e *kernelEvent) {
	for len(b) >= 4 {
		length, kind := int(binary.NativeEndian.Uint16(b)), binary.NativeEndian.Uint16(b[2:])
		if length < 4 || length > len(b) {
			return
		}
		switch value := b[4:length]; {
		case kind == statSource && len(value) > 0:
			e.conversation.source = value[0]
		case kind == statDestination && len(value) > 0:
			e.conversation.to = value[0]
		case kind == statPGN && len(value) >= 4:
			e.conversation.pgn = binary.NativeEndian.Uint32(value)
		}
		b = b[min(len(b), (length+3)&^3):]
	}
}
