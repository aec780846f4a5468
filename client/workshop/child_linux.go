package workshop

import (
	"os/exec"
	"syscall"
)

// dieWithUs has a child told to end when this process is gone, however it ended; the thread that starts it has to be there until then.
func dieWithUs(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGTERM}
}
