package main

import "github.com/spf13/cobra"

func newRunCommand(a *app) *cobra.Command {
	return group("run", "Runs on the rolling road", newRunAdd(a), newRunList(a))
}
