package socketcan

import (
	"encoding/binary"
	"unsafe"

	"golang.org/x/sys/unix"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

// Layout of struct can_frame (Linux include/uapi/linux/can.h), in the computer's byte order:
//
//	0..3 can_id | 4 length | 5..7 (padding, reserved, raw DLC) | 8..15 data
const (
	frameID     = 0
	frameLength = 4
	frameData   = 8
	frameSize   = frameData + 8
)

var _ [frameSize]struct{} = [unix.CAN_MTU]struct{}{}

const (
	batchFrames  = 64 // frames fetched by one call
	controlBytes = 64 // room for one time stamp and one drop count; asserted in newBatch
)

// message is struct mmsghdr (recvmmsg(2)), which x/sys does not define.
type message struct {
	header unix.Msghdr
	bytes  uint32
}

// batch is the memory of one recvmmsg call. It is made once, so hearing a frame allocates nothing.
type batch struct {
	messages [batchFrames]message
	vectors  [batchFrames]unix.Iovec
	frames   [batchFrames][frameSize]byte
	control  [batchFrames][controlBytes]byte
}

func newBatch() *batch {
	if need := unix.CmsgSpace(int(unsafe.Sizeof(unix.Timespec{}))) + unix.CmsgSpace(4); need > controlBytes {
		panic("socketcan: control messages do not fit")
	}
	b := &batch{}
	for i := range b.messages {
		b.vectors[i].Base = &b.frames[i][0]
		b.vectors[i].SetLen(frameSize)
		header := &b.messages[i].header
		header.Iov = &b.vectors[i]
		header.SetIovlen(1)
		header.Control = &b.control[i][0]
	}
	return b
}

// receive fetches at most want frames that are there already. It never waits.
func (b *batch) receive(fd, want int) (int, error) {
	want = min(want, batchFrames)
	for i := range want {
		b.messages[i].header.SetControllen(controlBytes)
	}
	for {
		n, _, errno := unix.Syscall6(unix.SYS_RECVMMSG, uintptr(fd), uintptr(unsafe.Pointer(&b.messages[0])),
			uintptr(want), unix.MSG_DONTWAIT, 0, 0)
		switch errno {
		case 0:
			return int(n), nil
		case unix.EINTR:
			continue
		case unix.EAGAIN:
			return 0, nil
		default:
			return 0, errno
		}
	}
}

// frame decodes message i. The stamp is 0 when the kernel gave none; drops is the kernel's running count, and
// told says whether it came with this frame.
func (b *batch) frame(i int, f *can.Frame) (drops uint32, told bool) {
	raw := &b.frames[i]
	id := binary.NativeEndian.Uint32(raw[frameID:])
	*f = can.Frame{}
	f.IsExtended = id&unix.CAN_EFF_FLAG != 0
	f.IsRemote = id&unix.CAN_RTR_FLAG != 0
	f.Error = id&unix.CAN_ERR_FLAG != 0
	if f.IsExtended || f.Error {
		f.ID = id & unix.CAN_EFF_MASK
	} else {
		f.ID = id & unix.CAN_SFF_MASK
	}
	f.Length = min(raw[frameLength], 8)
	if !f.IsRemote {
		copy(f.Data[:], raw[frameData:frameData+int(f.Length)])
	}
	f.Time, drops, told = parseControl(b.control[i][:b.messages[i].header.Controllen])
	return drops, told
}

// parseControl reads the control messages of one frame.
func parseControl(control []byte) (stamp clock.Instant, drops uint32, told bool) {
	for len(control) >= unix.SizeofCmsghdr {
		header, data, rest, err := unix.ParseOneSocketControlMessage(control)
		if err != nil {
			return stamp, drops, told
		}
		if header.Level == unix.SOL_SOCKET {
			switch {
			case header.Type == unix.SCM_TIMESTAMPNS && len(data) >= int(unsafe.Sizeof(unix.Timespec{})):
				stamp = clock.Instant((*unix.Timespec)(unsafe.Pointer(&data[0])).Nano())
			case header.Type == unix.SO_RXQ_OVFL && len(data) >= 4:
				drops, told = binary.NativeEndian.Uint32(data), true
			}
		}
		control = rest
	}
	return stamp, drops, told
}

// encode writes a frame as struct can_frame.
func encode(raw *[frameSize]byte, id uint32, length uint8, data [8]byte) {
	*raw = [frameSize]byte{frameLength: length}
	binary.NativeEndian.PutUint32(raw[frameID:], id)
	copy(raw[frameData:], data[:])
}
