package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"text/tabwriter"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"witnessmark/client"
	"witnessmark/store/record"
	"witnessmark/tables/image"
)

// step is what a command does with the person's client.
type step func(ctx context.Context, c *client.Client, args []string) error

// acts is for commands that need the server: their copy of the ledger is up to date.
func (a *app) acts(do step) func(*cobra.Command, []string) error {
	return a.with((*client.Client).Sync, do)
}

// looks is for commands that only look: where the server is away, the copy will do.
func (a *app) looks(do step) func(*cobra.Command, []string) error { return a.with(a.look, do) }

func (a *app) with(catchUp func(*client.Client, context.Context) error, do step) func(*cobra.Command, []string) error {
	return func(cmd *cobra.Command, args []string) error {
		home, err := a.home()
		if err != nil {
			return err
		}
		c, err := client.Open(home, a.passphrase())
		if err != nil {
			return err
		}
		defer c.Close()
		c.Progress, c.Say = a.progress(), a.say
		if a.verbose {
			c.Detail = a.say
		}
		if err := catchUp(c, cmd.Context()); err != nil {
			return err
		}
		return do(cmd.Context(), c, args)
	}
}

// look catches up where it can, and says how old what is shown is where it cannot.
func (a *app) look(c *client.Client, ctx context.Context) error {
	if err := c.Look(ctx); err != nil {
		return err
	}
	if _, reached := c.AsOf(); reached {
		if err := c.Resume(ctx); err != nil && client.KindOf(err) != client.Away {
			return err
		}
	}
	if at, reached := c.AsOf(); !reached {
		a.aside("", fmt.Sprintf("as of %s, server not reached", at.Local().Format("2 Jan 15:04")))
	}
	return nil
}

// say is one line that is no answer.
func (a *app) say(line string) { a.aside("witnessmark: ", client.OneLine(line)) }

// aside is a line on the side of the answer, for a person after a prefix.
func (a *app) aside(prefix, line string) {
	if a.json() {
		a.jsonLine(map[string]string{"notice": line})
		return
	}
	fmt.Fprintf(a.errOut, "%s%s\n", prefix, line)
}

// passphrase asks on the terminal; without one there is nobody to ask.
func (a *app) passphrase() client.Passphrase {
	if !a.terminal() {
		return nil
	}
	return func(file string) ([]byte, error) {
		fmt.Fprintf(a.errOut, "passphrase of %s: ", file)
		b, err := term.ReadPassword(int(a.in.(*os.File).Fd()))
		fmt.Fprintln(a.errOut)
		return b, err
	}
}

// ask reads one line that a person types.
func (a *app) ask(question string) (string, error) {
	fmt.Fprint(a.errOut, question)
	if a.lines == nil {
		a.lines = bufio.NewReader(a.in)
	}
	line, err := a.lines.ReadString('\n')
	if err != nil && (line == "" || !errors.Is(err, io.EOF)) {
		return "", err
	}
	return strings.TrimSpace(line), nil
}

// noticeable is the size from which moving bytes takes long enough to be shown.
const noticeable = 1 << 20

func (a *app) progress() client.Progress {
	f, ok := a.errOut.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return nil
	}
	return func(what string, size int64) func(int) {
		if size >= 0 && size <= noticeable { // of what has no size yet, it is shown that it moves
			return func(int) {}
		}
		bar := progressbar.NewOptions64(size, progressbar.OptionSetWriter(f), progressbar.OptionShowBytes(true),
			progressbar.OptionSetDescription(what), progressbar.OptionClearOnFinish())
		return func(n int) { _ = bar.Add(n) }
	}
}

// columns writes rows aligned; the first row is the heading, where there is one.
func columns(w io.Writer, rows [][]string) error {
	var b strings.Builder
	t := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	for _, r := range rows {
		fmt.Fprintln(t, strings.Join(r, "\t"))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for line := range strings.Lines(b.String()) {
		if _, err := fmt.Fprintln(w, strings.TrimRight(line, " \n")); err != nil {
			return err
		}
	}
	return nil
}

// formatUsage says what --file-format takes.
const formatUsage = "bin, hex or s19"

// fileFormat adds --file-format; the answer reads it, and is empty where it was not given.
func fileFormat(cmd *cobra.Command, leftOut string) func() (image.Format, error) {
	s := cmd.Flags().String("file-format", "", formatUsage+"; "+leftOut)
	return func() (image.Format, error) { return formatOr(*s) }
}

// What is done where --file-format is left out.
const (
	byContent = "found by content where left out"
	byEnding  = "found by the ending of the file where left out"
)

// formatOr reads a format flag; empty where it was left out.
func formatOr(flag string) (image.Format, error) {
	if flag == "" {
		return "", nil
	}
	f, err := image.FormatNamed(flag)
	if err != nil {
		return "", usage("%v", err)
	}
	return f, nil
}

// outFlags adds --out and --replace for a file to be written.
func outFlags(cmd *cobra.Command, out *string, replace *bool) {
	cmd.Flags().StringVar(out, "out", "", "the file to write")
	replaceFlag(cmd, replace)
}

func replaceFlag(cmd *cobra.Command, replace *bool) {
	cmd.Flags().BoolVar(replace, "replace", false, "take the place of a file that is there already")
}

// forEver is said wherever a reason is asked for.
const forEver = "reasons and names stay in the ledger for ever"

// because adds --because; the answer reads it, or asks for it at a terminal.
func (a *app) because(cmd *cobra.Command) func() (string, error) {
	s := cmd.Flags().String("because", "", "why; "+forEver)
	return func() (string, error) {
		switch {
		case strings.TrimSpace(*s) != "":
			return *s, nil
		case a.terminal():
			return a.ask("why (" + forEver + "): ")
		}
		return "", usage("--because TEXT is needed: %s", forEver)
	}
}

// confirmed asks somebody at a terminal for a yes; without one, having typed the command is it.
func (a *app) confirmed(question string) error {
	if !a.terminal() {
		return nil
	}
	answer, err := a.ask(question + " (yes/no) ")
	if err == nil && answer != "yes" {
		err = &client.Error{Kind: client.Refused, Text: "that was no yes: nothing was done"}
	}
	return err
}

// nameOf reads a name of a job or of something in it.
func nameOf(text string) (record.Name, error) {
	n, err := record.ParseName(text)
	if err != nil {
		return n, usage("%v", err)
	}
	return n, nil
}

func usage(format string, args ...any) error {
	return &client.Error{Kind: client.Usage, Text: fmt.Sprintf(format, args...)}
}

// required marks flags that a command cannot do without.
func required(cmd *cobra.Command, names ...string) *cobra.Command {
	for _, n := range names {
		if err := cmd.MarkFlagRequired(n); err != nil {
			panic(err) // a flag that the command itself does not have
		}
	}
	return cmd
}
