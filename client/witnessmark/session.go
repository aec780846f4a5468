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
	"unicode"

	"github.com/schollz/progressbar/v3"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"witnessmark/client"
	"witnessmark/tables/image"
)

// session opens the person's client and brings the mirror up to date.
func (a *app) session(ctx context.Context) (*client.Client, error) {
	home, err := a.home()
	if err != nil {
		return nil, err
	}
	c, err := client.Open(home, a.passphrase())
	if err != nil {
		return nil, err
	}
	c.Progress = a.progress()
	if err := c.Sync(ctx); err != nil {
		return nil, errors.Join(err, c.Close())
	}
	return c, nil
}

// with runs a command that needs the ledger.
func (a *app) with(fn func(ctx context.Context, c *client.Client, args []string) error) func(*cobra.Command, []string) error {
	return func(cmd *cobra.Command, args []string) error {
		c, err := a.session(cmd.Context())
		if err != nil {
			return err
		}
		defer c.Close()
		return fn(cmd.Context(), c, args)
	}
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
		if size <= noticeable {
			return func(int) {}
		}
		bar := progressbar.NewOptions64(size, progressbar.OptionSetWriter(f), progressbar.OptionShowBytes(true),
			progressbar.OptionSetDescription(what), progressbar.OptionClearOnFinish())
		return func(n int) { _ = bar.Add(n) }
	}
}

// columns writes rows aligned; the first row is the heading.
func columns(w io.Writer, rows [][]string) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, r := range rows {
		fmt.Fprintln(t, strings.TrimRight(strings.Join(r, "\t"), "\t"))
	}
	return t.Flush()
}

// fileFormat adds --file-format; the answer reads it, and is empty where it was not given.
func fileFormat(cmd *cobra.Command) func() (image.Format, error) {
	s := cmd.Flags().String("file-format", "", "raw, ihex or srec; found by content where left out")
	return func() (image.Format, error) { return formatOrDetect(*s) }
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

// clean keeps what a person wrote to one line without control characters.
func clean(s string) string {
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return unicode.IsSpace(r) || unicode.IsControl(r) }), " ")
}
