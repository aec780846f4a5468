package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"witnessmark/client"
	"witnessmark/client/demo"
	"witnessmark/server"
	"witnessmark/store/held"
)

func newDemoCommand(a *app) *cobra.Command {
	var exit bool
	var database string
	cmd := &cobra.Command{
		Use:   "demo [--exit] [--database URL]",
		Short: "The whole job on demo data, with a server of its own",
		Args:  cobra.NoArgs,
		RunE:  func(cmd *cobra.Command, _ []string) error { return a.demo(cmd.Context(), exit, database) },
	}
	cmd.Flags().StringVar(&database, "database", "", "keep the ledger in this PostgreSQL database, which holds none yet; it stays there afterwards")
	cmd.Flags().BoolVar(&exit, "exit", false, "end when the job is done, instead of serving on")
	return cmd
}

// stageSet is where the demo plays: a folder, a server, three people. Its first failure ends it.
type stageSet struct {
	a     *app
	ctx   context.Context
	place server.Place
	dir   string
	addr  string
	print string // the ledger's fingerprint
	liar  *liar  // from before the sign-off on
	err   error
}

// demo is the one place where client and server meet in a process.
func (a *app) demo(ctx context.Context, exit bool, database string) (err error) {
	defer client.Unfinished()()
	dir, done, err := held.Folder(os.TempDir(), client.DemoFolder)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, done()) }()
	s := &stageSet{a: a, ctx: ctx, dir: dir, place: server.Place{Dir: filepath.Join(dir, "server"), Database: database}}
	if err := s.files(); err != nil {
		return err
	}
	s.say("A club hill-climb car, 1.8 l turbo four, comes back with a larger compressor wheel and intercooler;\n" +
		"it runs on 98 RON. Everything below is in DEMO=" + dir + ", and every line after a name and $ is a\n" +
		"command that this person could have typed. The engine and its controller are invented.")
	stop, err := s.serve()
	if err != nil {
		return err
	}
	defer func() {
		if s.liar != nil && s.liar.stop != nil {
			s.liar.stop()
		}
		err = errors.Join(err, stop())
	}()
	for _, scene := range []func(*stageSet){people, firstAttempt, secondAttempt, lyingServer, bay, tamperedProof, correction, forgotten} {
		if scene(s); s.err != nil {
			return s.err
		}
	}
	s.say("Done. Before any of this meets a real engine: knock, charge pressure and exhaust temperature are watched\n" +
		"by somebody trained to, on a rolling road with guards and a strapped car; whether a change may go on\n" +
		"the road is for local law and licensed practice to say.")
	if exit {
		return nil
	}
	s.lookAround()
	stopDesks, err := s.desks()
	if err != nil {
		return err
	}
	<-ctx.Done()
	return stopDesks()
}

// files puts the demo data where people find it.
func (s *stageSet) files() error {
	files, err := demo.Files()
	if err != nil {
		return err
	}
	for _, name := range []string{"dx1-1.8t.yaml", "dx1-road-98.yaml", "asfound.hex", "submission-1.bin", "submission-2.bin", "readback.bin", "before.csv", "after.csv"} {
		if err := os.WriteFile(s.path(name), files[name], 0o644); err != nil {
			return err
		}
	}
	return nil
}

func (s *stageSet) path(name string) string { return filepath.Join(s.dir, name) }

// serve makes the lead's key and a ledger, and starts its server on a free port of this machine.
func (s *stageSet) serve() (stop func() error, err error) {
	lead, err := client.NewKey(s.path("lead.key"), "", nil)
	if err != nil {
		return nil, err
	}
	if s.print, err = s.place.Init("lead", lead, false); err != nil {
		return nil, err
	}
	srv, err := server.Start(server.Options{Place: s.place, Listen: "127.0.0.1:0"})
	if err != nil {
		return nil, err
	}
	s.addr = srv.Addr()
	kept := "an empty ledger"
	if s.place.Database != "" {
		kept = "an empty ledger in PostgreSQL"
	}
	s.say("A server with " + kept + " listens on " + s.addr + ". Its fingerprint, which every client pins:\n" + s.print)
	return srv.Stop, nil
}

// say tells the story between the commands.
func (s *stageSet) say(text string) { s.tell(map[string]any{"says": text}, "\n%s\n\n", text) }

// tell is one step of the story, with --format json a line of its own.
func (s *stageSet) tell(step map[string]any, format string, args ...any) {
	if s.a.json() {
		writeLine(s.a.out, step)
		return
	}
	fmt.Fprintf(s.a.out, format, args...)
}

// as runs a command as a person, and expects its exit status.
func (s *stageSet) as(person string, want int, args ...string) { s.brief(person, want, "", args...) }

// brief is as for a command whose output is long: it is shown up to the line that is upTo.
func (s *stageSet) brief(person string, want int, upTo string, args ...string) {
	if s.err != nil {
		return
	}
	var b strings.Builder
	sub := &app{in: strings.NewReader(""), out: &b, errOut: &b, format: "text", folder: s.path(person)}
	got := sub.run(s.ctx, args)
	text := b.String()
	if got != want {
		s.err = fmt.Errorf("demo: this should have ended with status %d, and ended with %d", want, got)
		if s.ctx.Err() != nil {
			s.err = errors.New("demo: interrupted")
		}
	} else if got != 0 {
		text += fmt.Sprintf("(exit status %d, as it should be)\n", got)
	}
	if shown, _, cut := strings.Cut(text, "\n"+upTo); cut && upTo != "" {
		text = shown + fmt.Sprintf("\n(… and so on: %s)\n", strings.ToLower(upTo))
	}
	s.tell(map[string]any{"person": person, "command": s.typed(args), "status": got, "output": b.String()},
		"%s$ witnessmark %s\n%s", person, s.typed(args), text)
}

// typed is a command line as a person would type it.
func (s *stageSet) typed(args []string) string {
	out := make([]string, len(args))
	for i, arg := range args {
		arg = strings.ReplaceAll(arg, s.dir, "$DEMO")
		if strings.ContainsAny(arg, " '\"") {
			arg = "'" + arg + "'"
		}
		out[i] = arg
	}
	return strings.Join(out, " ")
}

// lookAround says how to go on while the server runs.
func (s *stageSet) lookAround() {
	me, err := os.Executable()
	if err != nil || strings.Contains(me, "go-build") {
		me = "go run ./client/witnessmark"
	}
	var b strings.Builder
	b.WriteString("The server goes on until you press Ctrl-C, which removes the demo's folder")
	if s.place.Database != "" {
		b.WriteString(", and with it the server's key; the ledger stays in the database")
	}
	b.WriteString(". In another terminal:\n\n")
	for _, line := range []struct{ home, args string }{
		{"technician", "job show 1"}, {"technician", "history HC81 --table ignition.98"}, {"lead", "sheet 1.2"},
		{"lead", "ledger list"}, {"technician", "verify " + s.path("release.hex.proof.zip")},
	} {
		fmt.Fprintf(&b, "  WITNESSMARK_HOME=%s %s %s\n", s.path(line.home), me, line.args)
	}
	s.say(strings.TrimRight(b.String(), "\n"))
}
