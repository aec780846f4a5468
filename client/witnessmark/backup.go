package main

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"witnessmark/client"
)

func newBackupCommand(a *app) *cobra.Command {
	var out client.Out
	cmd := &cobra.Command{
		Use:   "backup --out FILE",
		Short: "Copy the whole store of the server, while it serves, to a file",
		Long: "Copy the whole store of the server, while it serves, to a file.\n\n" +
			"The server's key is not in it: keep that apart. witnessmarkd restore makes a server of the two again.",
		Args: cobra.NoArgs,
	}
	outFlags(cmd, &out.Path, &out.Replace)
	cmd.RunE = a.acts(func(ctx context.Context, c *client.Client, _ []string) error {
		size, err := c.Backup(ctx, out)
		if err != nil {
			return err
		}
		if a.json() {
			return a.printValues("file", out.Path, "bytes", float64(size))
		}
		_, err = fmt.Fprintf(a.out, "%d bytes into %s\n", size, out.Path)
		return err
	})
	return required(cmd, "out")
}
