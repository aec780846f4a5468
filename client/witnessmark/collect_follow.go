package main

import (
	"cmp"
	"context"
	"fmt"
	"os"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"witnessmark/client"
	"witnessmark/client/sheet"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// bayFlags are the options of collect --follow.
type bayFlags struct {
	follow, yes, quiet, notReadBack bool
	to                              string
}

func (b *bayFlags) add(cmd *cobra.Command) {
	cmd.Flags().BoolVar(&b.follow, "follow", false, "go on, and offer each new release of a job; Enter writes it")
	cmd.Flags().StringVar(&b.to, "to", ".", "with --follow: a folder, or a file's name to which each release adds its own (car.bin: car-7.12.bin)")
	cmd.Flags().BoolVar(&b.yes, "yes", false, "with --follow: write each release without asking")
	cmd.Flags().BoolVar(&b.quiet, "quiet", false, "with --follow: no bell")
	cmd.Flags().BoolVar(&b.notReadBack, "not-read-back", false, "with --follow: what a corridor released may follow another that was not read back")
}

// check refuses options of the other way of collecting.
func (b *bayFlags) check(cmd *cobra.Command, _ []string) error {
	others, with := []string{"to", "yes", "quiet", "not-read-back"}, "goes with --follow"
	if b.follow {
		others, with = []string{"out", "replace", "as-found"}, "does not go with --follow: a file gets its release's own name (--to), and takes no other's place"
	} else if !cmd.Flags().Changed("out") {
		return usage("--out FILE is needed, or --follow")
	}
	for _, name := range others {
		if cmd.Flags().Changed(name) {
			return usage("--%s %s", name, with)
		}
	}
	return nil
}

// bayFollower offers the releases of one job as they come.
type bayFollower struct {
	*app
	bayFlags
	client   *client.Client
	ask      client.Collecting // without what differs from release to release
	keyboard *keyboard         // nil with --yes
	bells    bool

	bay      *client.Bay
	began    bool           // the first look is over
	offered  *client.Review // waits for a key; nil for none
	written  *client.Review // what was collected last, where it was reviewed here
	lost     uint32         // was collected, and its file never got its name
	skipped  uint32
	corridor uint32 // the last that was seen open
	status   string // the line about the state of things that was said last
	shouted  uint32 // the entry of the recall that was said last
}

func (a *app) followBay(ctx context.Context, c *client.Client, q client.Collecting, flags bayFlags) error {
	f := &bayFollower{app: a, bayFlags: flags, client: c, ask: q}
	switch {
	case flags.yes:
	case !a.terminal():
		return usage("collect --follow asks for a key at a terminal; without one: --yes, or collect %d --out FILE for the newest release", q.Job)
	case a.json():
		return usage("--format json goes with --follow --yes")
	}
	var err error
	if f.ask.Format, err = (client.Out{Path: f.path(&recordv1.Submission{Job: q.Job})}).Format(q.Format); err != nil {
		return usage("--to %s: no folder is there, and as a file's name its ending does not say what kind of file it is to be; allowed are bin, hex and s19, or --file-format", f.to)
	}
	if f.bay, err = c.Bay(q.Job); err != nil {
		return err
	}
	if _, reached := c.AsOf(); reached && flags.notReadBack && f.bay.Corridor == nil && f.bay.Release.GetByCorridor() == 0 {
		return usage("--not-read-back: job %d has no open corridor; what a person signed for is read back before the next is written", q.Job)
	}
	if file, ok := a.errOut.(*os.File); ok {
		f.bells = !flags.quiet && term.IsTerminal(int(file.Fd()))
	}
	return f.run(ctx)
}

// run goes on until the job or its corridor is closed, or the person ends it.
func (f *bayFollower) run(ctx context.Context) (err error) {
	var keys <-chan rune
	if !f.yes {
		if f.keyboard, err = f.openKeyboard(); err != nil {
			return err
		}
		defer f.keyboard.end()
		keys = f.keyboard.keys
	}
	defer f.close()
	f.aside("", "stop with Ctrl-C")
	watching, stop := context.WithCancel(ctx)
	defer stop()
	grown, notices, ended := make(chan bool), make(chan string), make(chan error, 1)
	notice := func(line string) { deliver(watching, notices, line) }
	go func() {
		ended <- f.client.Follow(watching, func() error { deliver(watching, grown, true); return nil },
			func(err error) { notice(fmt.Sprintf("%v; it is asked again", err)) }, func() { notice("the server answers again") })
	}()
	for done := false; !done && err == nil; {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case err = <-ended:
			return cmp.Or(err, ctx.Err())
		case line := <-notices:
			f.say(line)
		case <-grown:
			done, err = f.lookAnew(ctx)
		case key, there := <-keys:
			if !there {
				return usage("the terminal is gone")
			}
			done, err = f.press(ctx, key)
		}
	}
	return err
}

// deliver hands something over, unless nobody waits for it any more.
func deliver[T any](ctx context.Context, to chan<- T, v T) {
	select {
	case to <- v:
	case <-ctx.Done():
	}
}

// tell says how things stand, once.
func (f *bayFollower) tell(format string, args ...any) {
	if line := fmt.Sprintf(format, args...); line != f.status {
		f.status = line
		f.say(line)
	}
}

func (f *bayFollower) bell() {
	if f.bells {
		fmt.Fprint(f.errOut, "\a")
	}
}

// shout says at once that what was collected last was recalled.
func (f *bayFollower) shout() {
	recall := f.bay.Recalled
	if recall == nil || recall.GetSince().GetEntry() == f.shouted {
		return
	}
	f.shouted = recall.GetSince().GetEntry()
	f.bell()
	f.warn()
}

// warn says what shout does, wherever that is not to move out of sight.
func (f *bayFollower) warn() {
	recall := f.bay.Recalled
	if recall == nil {
		return
	}
	text := "do not drive: " + recall.GetSays()
	if f.bay.Release != nil {
		text += "; the newest release is " + client.Name(f.bay.Release)
	}
	if f.json() {
		f.aside("", client.OneLine(text))
		return
	}
	_ = sheet.WriteShout(f.errOut, "danger", client.OneLine(text)) // as an aside
}

// close says what has to be done before the car leaves.
func (f *bayFollower) close() {
	b, err := f.client.Bay(f.ask.Job)
	switch {
	case err != nil || b.Last == nil:
	case b.Recalled != nil:
		f.bay, f.shouted = b, 0
		f.shout()
	case b.Owed:
		f.aside("", fmt.Sprintf("before the car leaves, %s is read back: witnessmark readback %d FILE", b.LastName(), f.ask.Job))
	default:
		f.aside("", fmt.Sprintf("%s was collected last, and read back", b.LastName()))
	}
}
