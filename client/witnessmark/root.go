package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/spf13/cobra"
	"golang.org/x/term"
	"google.golang.org/protobuf/proto"

	"witnessmark/client"
	"witnessmark/store/built"
	"witnessmark/store/record"
)

// app is what every command shares.
type app struct {
	in     io.Reader
	out    io.Writer
	errOut io.Writer
	// format is text or json.
	format string
	// verbose is whether it is told which of the server's addresses answers.
	verbose bool
	// saidNo is set by a command that was done and whose answer is "no": status 1.
	saidNo bool
	// folder is the person's, where it is not the usual one: the demo has three people.
	folder string
	// lines is in, once something was asked: what was typed ahead is kept.
	lines *bufio.Reader
}

// commands lists every command; each is a file of its own.
func commands() []func(*app) *cobra.Command {
	return []func(*app) *cobra.Command{
		newKeyCommand, newJoinCommand, newLoginCommand, newWhoamiCommand, newPersonCommand,
		newDefinitionCommand, newLimitsCommand,
		newJobCommand, newReadCommand, newSubmitCommand, newSheetCommand,
		newSignCommand, newReturnCommand, newWithdrawCommand,
		newCollectCommand, newGetCommand, newReadbackCommand, newNoteCommand, newSettleCommand, newEraseCommand,
		newTrayCommand, newSearchCommand, newHistoryCommand, newLedgerCommand, newVerifyCommand, newBackupCommand, newCheckUpCommand, newDemoCommand, newDeskCommand,
		newCorridorCommand, newRunCommand, newOutcomeCommand, newReckonCommand,
		newCompareCommand, newCheckCommand, newInspectCommand, newSignalCommand, newConvertCommand, newChecksumCommand,
	}
}

func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "witnessmark",
		Short: "Compare calibrations, sign them off, and take only signed-off files to a car",
		Long: "Compare calibrations, sign them off, and take only signed-off files to a car.\n\n" +
			"WITNESSMARK_HOME is your folder; without it, the user's configuration folder is used.\n" +
			"Exit status: 0 done; 1 done, and the answer is no; 2 could not be done, or was refused; 128 and the number of the\n" +
			"signal that ended it (130 after Ctrl-C), and then nothing is left half written.\n" +
			"Files are read whole, and must be regular ones: images and runs of at most 512 MiB, definitions, limits and channel\n" +
			"files of at most 16 MiB. What comes as CSV has ' before a text that a spreadsheet would run.",
		Version:       built.Version(),
		SilenceUsage:  true,
		SilenceErrors: true,
		Args:          known,
		RunE:          func(c *cobra.Command, _ []string) error { return c.Help() },
		PersistentPreRunE: func(c *cobra.Command, _ []string) error {
			if a.format != "text" && a.format != "json" && (a.format != "csv" || c.Annotations["csv"] == "") {
				return usage("--format %q: allowed are text and json", a.format)
			}
			if err := c.ValidateRequiredFlags(); err != nil {
				return usage("%v", err)
			}
			return nil
		},
	}
	root.PersistentFlags().StringVar(&a.format, "format", "text", "text or json: of the answer, and of errors and what is said beside it, a line each")
	root.PersistentFlags().BoolVar(&a.verbose, "verbose", false, "say which of the server's addresses answers, and which does not")
	for _, c := range commands() {
		root.AddCommand(c(a))
	}
	root.SetFlagErrorFunc(func(_ *cobra.Command, err error) error { return usage("%v", err) })
	root.SetIn(a.in)
	root.SetOut(a.out)
	root.SetErr(a.errOut)
	return root
}

// execute is the whole command; the answer is the exit status.
func execute(args []string, in io.Reader, out, errOut io.Writer) int {
	a := &app{in: in, out: out, errOut: errOut, format: "text"}
	return interruptible(in, errOut, func(ctx context.Context) int { return a.run(ctx, args) })
}

func (a *app) run(ctx context.Context, args []string) int {
	root := a.root()
	root.SetArgs(args)
	err := root.ExecuteContext(ctx)
	if errors.Is(err, context.Canceled) && ctx.Err() != nil {
		a.aside("witnessmark: ", "interrupted")
		return statusOf(err)
	}
	if err != nil {
		if asksJSON(args) { // also where the flags were not read that far
			a.format = "json"
		}
		a.complain(err)
		return statusOf(err)
	}
	if a.saidNo {
		return 1
	}
	return 0
}

// asksJSON says whether the arguments ask for JSON.
func asksJSON(args []string) bool {
	for i, arg := range args {
		switch {
		case arg == "--":
			return false
		case arg == "--format=json", arg == "--format" && i+1 < len(args) && args[i+1] == "json":
			return true
		}
	}
	return false
}

// statusOf is 1 where something could be checked and is not what it claims to be, else 2.
func statusOf(err error) int {
	if client.KindOf(err) == client.Distrust {
		return 1
	}
	return 2
}

// complain prints one lower-case line, and a second one where there is something to do; with --format
// json it is one line of JSON.
func (a *app) complain(err error) {
	text := client.OneLine(err.Error())
	if r, n := utf8.DecodeRuneInString(text); unicode.IsUpper(r) {
		if second, _ := utf8.DecodeRuneInString(text[n:]); !unicode.IsUpper(second) {
			text = string(unicode.ToLower(r)) + text[n:]
		}
	}
	if a.json() {
		a.jsonLine(map[string]any{"error": failureOf(err, text)})
		return
	}
	fmt.Fprintf(a.errOut, "witnessmark: %s\n", text)
	if try := client.TryOf(err); try != "" {
		fmt.Fprintf(a.errOut, "try: %s\n", try)
	}
}

// failure is an error for a program. Reason is a stable word: that of the rule that refuses, else the
// kind of failure. At is what is at fault and Allowed what would be right, where a rule says so.
type failure struct {
	Reason  string `json:"reason"`
	Text    string `json:"text"`
	At      string `json:"at"`
	Allowed string `json:"allowed"`
	Try     string `json:"try"`
}

func failureOf(err error, text string) failure {
	f := failure{Reason: client.KindOf(err).String(), Text: text, Try: client.TryOf(err)}
	var r *record.Refusal
	if errors.As(err, &r) && r.Reason != "" {
		f.Reason, f.At, f.Allowed = r.Reason, r.At, r.Allowed
	}
	return f
}

// jsonLine writes one line of JSON for a program beside the answer.
func (a *app) jsonLine(v any) { writeLine(a.errOut, v) }

func writeLine(w io.Writer, v any) {
	enc := json.NewEncoder(w)
	enc.SetEscapeHTML(false)
	_ = enc.Encode(v) // there is nowhere to say that it failed
}

// home is the folder of whoever runs the command.
func (a *app) home() (*client.Home, error) {
	if a.folder != "" {
		return &client.Home{Dir: a.folder}, nil
	}
	return client.DefaultHome()
}

// json reports whether --format json was asked for.
func (a *app) json() bool { return a.format == "json" }

// print writes a message as JSON, or what text writes.
func (a *app) print(m proto.Message, text func(w io.Writer) error) error {
	if a.json() {
		return client.WriteJSON(a.out, m)
	}
	return text(a.out)
}

// line writes a message as JSON, or one line about it.
func (a *app) line(m proto.Message, format string, args ...any) error {
	return a.print(m, func(w io.Writer) error {
		_, err := fmt.Fprintf(w, format+"\n", args...)
		return err
	})
}

// terminal reports whether a person is there to be asked.
func (a *app) terminal() bool {
	f, ok := a.in.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// group is a command that only holds others.
func group(use, short string, children ...*cobra.Command) *cobra.Command {
	c := &cobra.Command{Use: use, Short: short, Args: known,
		RunE: func(c *cobra.Command, _ []string) error {
			var names []string
			for _, child := range c.Commands() {
				names = append(names, child.Name())
			}
			return usage("%s needs one of: %s", c.Name(), strings.Join(names, ", "))
		}}
	c.AddCommand(children...)
	return c
}

// known refuses a command that there is not, and names one that may be meant.
func known(c *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	c.SuggestionsMinimumDistance = 2
	err := &client.Error{Kind: client.Usage, Text: fmt.Sprintf("unknown command %q", c.CommandPath()+" "+args[0])}
	if like := c.SuggestionsFor(args[0]); len(like) > 0 {
		err.Try = c.CommandPath() + " " + strings.Join(like, ", or "+c.CommandPath()+" ")
	}
	return err
}

// takes holds a command to its arguments, and shows how it is called where they are others.
func takes(n int) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) == n {
			return nil
		}
		return usage("%d arguments given, and %d wanted: %s", len(args), n, c.UseLine())
	}
}
