package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/desk"
	workshops "witnessmark/client/workshop"
	"witnessmark/store/signoff"
)

func newDeskCommand(a *app) *cobra.Command {
	var noOpen, agentAsks bool
	var addr string
	cmd := &cobra.Command{
		Use:   "desk",
		Short: "The desk: job cards, sheets and tables as pages in your browser",
		Long: "The desk: job cards, sheets and tables as pages in your browser.\n\n" +
			"On a machine that knows no workshop yet, it starts one, or joins one.\n\n" +
			"It listens on loopback only, and lets in the browser that opens a private file of yours, whose code works once and for a\n" +
			"minute. Each signature asks for your key's passphrase. Where the key has none, or ssh-agent holds it, a yes in this\n" +
			"terminal is asked for instead. The desk runs until it is interrupted.",
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			home, err := a.home()
			if err != nil {
				return err
			}
			var t *desk.Terminal
			o := desk.Options{Listen: addr, Logger: slog.New(slog.NewTextHandler(a.errOut, nil))}
			o.Welcome = desk.Welcome{Home: home, Confirms: func(c *client.Client) (desk.Confirmer, error) {
				if a.terminal() && t == nil {
					t = desk.NewTerminal(a.in, a.errOut)
				}
				return desk.ConfirmerFor(c, home, agentAsks, t)
			}}
			if !home.LoggedIn() {
				return a.serveDesk(cmd.Context(), o, noOpen)
			}
			if o.Daemon, err = workshops.Resume(cmd.Context(), home, a.say); err != nil {
				a.say(err.Error()) // there is much to see without the server
			}
			defer o.Daemon.Stop()
			if a.locked(home) {
				return a.serveDesk(cmd.Context(), o, noOpen)
			}
			return a.looks(func(ctx context.Context, c *client.Client, _ []string) (err error) {
				c.Progress, o.Client = nil, c
				if o.Confirm, err = o.Welcome.Confirms(c); err != nil {
					return err
				}
				return a.serveDesk(ctx, o, noOpen)
			})(cmd, nil)
		},
	}
	cmd.Flags().BoolVar(&noOpen, "no-open", false, "do not open a browser; print the file to open instead")
	cmd.Flags().StringVar(&addr, "listen", "127.0.0.1:0", "loopback address; port 0 picks one")
	cmd.Flags().BoolVar(&agentAsks, "agent-asks", false, "your ssh-agent asks before each signature (ssh-add -c), so the terminal need not")
	return cmd
}

func (a *app) serveDesk(ctx context.Context, o desk.Options, noOpen bool) error {
	defer client.Unfinished()() // it has a folder to remove
	d, err := desk.Start(o)
	if err != nil {
		return err
	}
	if a.json() {
		err = a.printValues("url", d.URL(), "file", d.DoorFile())
	} else {
		_, err = fmt.Fprintf(a.out, "desk: %s\nopen this file in your browser: %s\n", d.URL(), d.DoorFile())
	}
	if err != nil {
		return errors.Join(err, d.Close())
	}
	if !noOpen {
		if err := openBrowser(d.DoorFile()); err != nil {
			a.say(fmt.Sprintf("no browser could be started (%v); open the file yourself", err))
		}
	}
	switch {
	case o.Client != nil:
		a.aside("", o.Confirm.Says())
	case o.Welcome.Home.LoggedIn():
		a.aside("", "the page asks for the passphrase of your key")
	default:
		a.aside("", "this machine knows no workshop yet: the page starts one, or joins one")
	}
	a.aside("", "stop with Ctrl-C")
	<-ctx.Done()
	return errors.Join(d.Close())
}

// locked says whether the key has a passphrase that nobody is here to type: the page asks for it then.
func (a *app) locked(home *client.Home) bool {
	if a.terminal() {
		return false
	}
	config, err := home.Config()
	if err != nil {
		return false
	}
	_, err = client.LoadSigner(config.Key, nil)
	return errors.Is(err, signoff.ErrPassphrase)
}

// openBrowser opens a private file: only its path stands on the command line, and no secret.
func openBrowser(path string) error {
	var cmd *exec.Cmd
	switch runtime.GOOS {
	case "darwin":
		cmd = exec.Command("open", path)
	case "windows":
		cmd = exec.Command(filepath.Join(os.Getenv("SystemRoot"), "System32", "rundll32.exe"), "url.dll,FileProtocolHandler", path)
	default:
		cmd = exec.Command("xdg-open", path)
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	go func() { _ = cmd.Wait() }() // it goes on by itself
	return nil
}
