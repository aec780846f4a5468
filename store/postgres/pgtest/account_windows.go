package pgtest

import (
	"os"
	"os/exec"
)

func apart(*exec.Cmd, bool) {}

func freeze(*os.Process) {}

func giveAway(string) error { return nil }
