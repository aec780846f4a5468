package main

import (
	"fmt"
	"io"
	"log/slog"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"witnessmark/server"
)

func serveCommand() *cobra.Command {
	var (
		p                       server.Place
		listen, metrics, format string
	)
	c := &cobra.Command{
		Use:   "serve --data DIR [--database URL] --listen HOST:PORT [--metrics 127.0.0.1:PORT]",
		Short: "serve a ledger until SIGTERM",
		Long: `Serve a ledger until SIGTERM or SIGINT, which end it cleanly with status 0.

A write that failed ends it with status 2: what the disk has is known once it is started again, which
is for whoever watches over it to do. A full disk does not end it: actions are refused until there is
room again.

With --database the ledger is in PostgreSQL, and any number of servers may serve it, each with a folder
that has a copy of the server's key. A database that goes away does not end them, nor a write that failed:
calls are refused until it is back. Where it cannot be reached at the start, the status is 2.`,
		Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) (err error) {
			if p.Log, err = logger(c.ErrOrStderr(), format); err != nil {
				return err
			}
			ctx, stop := signal.NotifyContext(c.Context(), syscall.SIGTERM, syscall.SIGINT)
			defer stop()
			return server.Serve(ctx, server.Options{Place: p, Listen: listen, Metrics: metrics, Backups: true})
		},
	}
	placeFlags(c, &p, false)
	c.Flags().StringVar(&listen, "listen", "", "HOST:PORT; port 0 picks one, and the log says which")
	c.Flags().StringVar(&metrics, "metrics", "", "tell Prometheus the server's figures on this loopback address")
	c.Flags().StringVar(&format, "log-format", "text", "text or json")
	_ = c.MarkFlagRequired("listen")
	return c
}

func logger(w io.Writer, format string) (*slog.Logger, error) {
	switch format {
	case "text":
		return slog.New(slog.NewTextHandler(w, nil)), nil
	case "json":
		return slog.New(slog.NewJSONHandler(w, nil)), nil
	}
	return nil, fmt.Errorf("--log-format is %q; allowed are text and json", format)
}
