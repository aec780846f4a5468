package postgres

import (
	"syscall"

	"golang.org/x/sys/unix"
)

// limitUnacknowledged ends a connection whose other side acknowledges nothing for 25 seconds.
func limitUnacknowledged(network, _ string, c syscall.RawConn) (err error) {
	if network == "unix" {
		return nil
	}
	control := c.Control(func(fd uintptr) {
		err = unix.SetsockoptInt(int(fd), unix.IPPROTO_TCP, unix.TCP_USER_TIMEOUT, 25_000)
	})
	if control != nil {
		return control
	}
	return err
}
