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
	var dir, listen, format string
	c := &cobra.Command{
		Use:   "serve --data DIR --listen HOST:PORT",
		Short: "serve a ledger until SIGTERM",
		Args:  cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			log, err := logger(c.ErrOrStderr(), format)
			if err != nil {
				return err
			}
			ctx, stop := signal.NotifyContext(c.Context(), syscall.SIGTERM, syscall.SIGINT)
			defer stop()
			return server.Serve(ctx, server.Options{Dir: dir, Listen: listen, Logger: log})
		},
	}
	dataFlag(c, &dir)
	c.Flags().StringVar(&listen, "listen", "", "HOST:PORT; port 0 picks one, and the log says which")
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
