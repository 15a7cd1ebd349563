package lockstep

import (
	"fmt"
	"net"
	"os"

	"golang.org/x/sys/unix"
)

// sameUser refuses the other end of a connection when it belongs to somebody else (unix(7), SO_PEERCRED).
func sameUser(conn *net.UnixConn) error {
	raw, err := conn.SyscallConn()
	if err != nil {
		return err
	}
	var cred *unix.Ucred
	var failed error
	if err := raw.Control(func(fd uintptr) {
		cred, failed = unix.GetsockoptUcred(int(fd), unix.SOL_SOCKET, unix.SO_PEERCRED)
	}); err != nil {
		return err
	}
	if failed != nil {
		return os.NewSyscallError("getsockopt", failed)
	}
	if own := os.Getuid(); int(cred.Uid) != own {
		return fmt.Errorf("the other end belongs to user %d of this computer, this program to user %d",
			cred.Uid, own)
	}
	return nil
}
