//go:build unix

package pgtest

import (
	"os"
	"os/exec"
	"os/user"
	"strconv"
	"syscall"
)

// apart has a program run in a session of its own, which no terminal interrupts, and where it says so, as the account.
func apart(cmd *exec.Cmd, asAccount bool) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true}
	if asAccount {
		cmd.SysProcAttr.Credential = account()
	}
}

// freeze has a process do nothing any more.
func freeze(p *os.Process) { _ = p.Signal(syscall.SIGSTOP) }

// giveAway has a folder belong to the account.
func giveAway(dir string) error {
	if who := account(); who != nil {
		return os.Chown(dir, int(who.Uid), int(who.Gid))
	}
	return nil
}

// account is whom PostgreSQL runs as where we are root, which it refuses to; nil is ourselves.
func account() *syscall.Credential {
	if os.Getuid() != 0 {
		return nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		if u, err := user.Lookup(name); err == nil {
			uid, err1 := strconv.ParseUint(u.Uid, 10, 32)
			gid, err2 := strconv.ParseUint(u.Gid, 10, 32)
			if err1 == nil && err2 == nil {
				return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
			}
		}
	}
	return nil
}
