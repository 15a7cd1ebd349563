//go:build linux

package unixbus

import "golang.org/x/sys/unix"

// Break ends a bus as the death of the process that carries it does, and leaves its port open.
func (p *Port) Break() error {
	err := unix.Shutdown(p.fd, unix.SHUT_RDWR)
	<-p.hub.done
	return err
}
