package pgtest

import "os/exec"

func apart(*exec.Cmd, bool) {}

func giveAway(string) error { return nil }
