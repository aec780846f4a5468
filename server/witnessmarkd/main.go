// Command witnessmarkd is the daemon: it keeps the ledger and serves the people of one workshop, or of several
// that share a database.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"witnessmark/server"
	"witnessmark/store/built"
)

func main() { os.Exit(run(os.Args[1:], os.Stdout, os.Stderr)) }

// errNo is an answer that is "no": it was printed already, and the status is 1.
var errNo = errors.New("no")

// run is the whole command: 0 done, 1 done and the answer is "no", 2 not done.
func run(args []string, stdout, stderr io.Writer) int {
	root := &cobra.Command{
		Use:           "witnessmarkd",
		Short:         "keep a workshop's ledger, and serve it",
		Version:       built.Version(),
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.NoArgs,
		RunE:          func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	root.CompletionOptions.DisableDefaultCmd = true
	root.SetArgs(args)
	root.SetOut(stdout)
	root.SetErr(stderr)
	root.AddCommand(initCommand(), serveCommand(), checkCommand(),
		backupCommand(), restoreCommand(), rebuildCommand(), recoverCommand(), getCommand(), moveCommand(), unitCommand())
	err := root.Execute()
	switch {
	case err == nil:
		return 0
	case errors.Is(err, errNo):
		return 1
	}
	fmt.Fprintln(stderr, "witnessmarkd:", oneLine(err))
	return 2
}

// oneLine puts an error, which may be several joined ones, on one line.
func oneLine(err error) string {
	return strings.Join(strings.FieldsFunc(err.Error(), func(r rune) bool { return r == '\n' || r == '\r' }), "; ")
}

// done says what was done, a line each; what went wrong is the command's own error.
type done struct{ w io.Writer }

func (done) Enabled(_ context.Context, level slog.Level) bool { return level == slog.LevelInfo }
func (d done) WithAttrs([]slog.Attr) slog.Handler             { return d }
func (d done) WithGroup(string) slog.Handler                  { return d }

func (d done) Handle(_ context.Context, r slog.Record) error {
	_, err := fmt.Fprintln(d.w, "witnessmarkd:", r.Message)
	return err
}

// databaseVariable may hold the URL of the database: unlike an option, it is in no list of processes.
const databaseVariable = "WITNESSMARK_DATABASE"

// placeFlags adds --data and --database. A command that only looks does without the folder where there is a database.
func placeFlags(c *cobra.Command, p *server.Place, looks bool) {
	c.Flags().StringVar(&p.Dir, "data", "", "the server's folder; beside a database it holds the server's key alone")
	c.Flags().StringVar(&p.Database, "database", "", "the URL of the PostgreSQL database that holds the ledger; by default that in $"+databaseVariable+",\nwhich keeps a password out of the list of processes")
	c.PreRunE = func(c *cobra.Command, _ []string) error {
		if p.Database == "" {
			p.Database = os.Getenv(databaseVariable)
		}
		if p.Dir == "" && !(looks && p.Database != "") {
			return errors.New(`required flag(s) "data" not set`)
		}
		p.Log = slog.New(done{c.ErrOrStderr()})
		return nil
	}
}
