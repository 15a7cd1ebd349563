package unixbus

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"golang.org/x/sys/unix"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
)

const (
	bufferWanted = 4 << 20         // bytes asked of the kernel for a socket; it gives at most net.core.wmem_max
	backlog      = 16              // processes that may be waiting to join
	greetedIn    = 2 * time.Second // a bus that is alive greets at once
)

func newSocket() (int, error) {
	fd, err := unix.Socket(unix.AF_UNIX, unix.SOCK_SEQPACKET|unix.SOCK_CLOEXEC|unix.SOCK_NONBLOCK, 0)
	if err != nil {
		return -1, os.NewSyscallError("socket", err)
	}
	widen(fd)
	return fd, nil
}

// widen asks for more room; what the kernel gives will have to do.
func widen(fd int) { _ = unix.SetsockoptInt(fd, unix.SOL_SOCKET, unix.SO_SNDBUF, bufferWanted) }

// connect joins the bus at a path. The error is can.ErrMissing when nobody carries one there.
func connect(path string) (fd int, base clock.Instant, err error) {
	if fd, err = newSocket(); err != nil {
		return -1, 0, err
	}
	switch err := unix.Connect(fd, &unix.SockaddrUnix{Name: path}); err {
	case nil:
	case unix.ENOENT, unix.ECONNREFUSED:
		return -1, 0, errors.Join(fmt.Errorf("%w: no process carries a bus there", can.ErrMissing), unix.Close(fd))
	default:
		return -1, 0, errors.Join(os.NewSyscallError("connect", err), unix.Close(fd))
	}
	if base, err = awaitGreeting(fd); err != nil {
		return -1, 0, errors.Join(err, unix.Close(fd))
	}
	return fd, base, nil
}

func awaitGreeting(fd int) (clock.Instant, error) {
	polled := [1]unix.PollFd{{Fd: int32(fd), Events: unix.POLLIN}}
	for end := boottime() + greetedIn; ; {
		left := end - boottime()
		if left <= 0 {
			return 0, fmt.Errorf("%w: it does not greet within %v", can.ErrDown, greetedIn)
		}
		timeout := unix.NsecToTimespec(int64(left))
		if n, err := unix.Ppoll(polled[:], &timeout, nil); err == unix.EINTR || n == 0 {
			continue
		} else if err != nil {
			return 0, os.NewSyscallError("ppoll", err)
		}
		var raw [2 * heardSize]byte
		n, err := unix.Read(fd, raw[:])
		if err == unix.EINTR || err == unix.EAGAIN {
			continue
		}
		if err != nil || n == 0 {
			return 0, fmt.Errorf("%w: it takes no more members (at most %d)", can.ErrDown, MembersMax)
		}
		return takeGreeting(raw[:n])
	}
}

// listen makes the socket at a path. It holds the folder's lock meanwhile, so that two who begin at once do
// not both take the remains of a killed one away. joined is not -1 when somebody was there after all.
func listen(path string) (listener, joined int, base clock.Instant, err error) {
	dir, err := os.Open(filepath.Dir(path))
	if err != nil {
		return -1, -1, 0, err
	}
	defer dir.Close() // which gives the lock back
	if err := unix.Flock(int(dir.Fd()), unix.LOCK_EX); err != nil {
		return -1, -1, 0, os.NewSyscallError("flock", err)
	}
	joined, base, err = connect(path)
	if err == nil {
		return -1, joined, base, nil
	}
	if !errors.Is(err, can.ErrMissing) {
		return -1, -1, 0, err
	}
	if err := clearRemains(path); err != nil {
		return -1, -1, 0, err
	}
	listener, err = bind(path)
	return listener, -1, newBase(), err
}

// clearRemains takes away the socket that a killed process has left. It touches nothing else.
func clearRemains(path string) error {
	info, err := os.Lstat(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	if info.Mode().Type() != os.ModeSocket {
		return errors.New("something else is there: name a path that is free")
	}
	return os.Remove(path)
}

// bind makes the socket beside its place and moves it there when it listens: whoever sees it can join. Only
// its own user can, and that before it listens, so that nobody else of this computer drives the bench in
// between.
func bind(path string) (int, error) {
	fd, err := newSocket()
	if err != nil {
		return -1, err
	}
	made := path + "~"
	if err := clearRemains(made); err != nil {
		return -1, errors.Join(err, unix.Close(fd))
	}
	err = os.NewSyscallError("bind", unix.Bind(fd, &unix.SockaddrUnix{Name: made}))
	if err == nil {
		err = os.Chmod(made, 0o600)
	}
	if err == nil {
		err = os.NewSyscallError("listen", unix.Listen(fd, backlog))
	}
	if err == nil {
		err = os.Rename(made, path)
	}
	if err != nil {
		return -1, errors.Join(err, unix.Close(fd))
	}
	return fd, nil
}
