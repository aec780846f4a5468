package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"

	"github.com/spf13/cobra"
	"golang.org/x/term"
	"google.golang.org/protobuf/proto"

	"witnessmark/client"
	"witnessmark/client/sheet"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/record"
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
	wide     int

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
	f := &bayFollower{app: a, bayFlags: flags, client: c, ask: q, wide: a.width()}
	switch {
	case flags.yes:
	case !a.terminal():
		return usage("collect --follow asks for a key at a terminal; without one: --yes, or collect %d --out FILE for the newest release", q.Job)
	case a.json():
		return usage("--format json goes with --follow --yes")
	}
	var err error
	if f.ask.Format, err = (client.Out{Path: f.path(&recordv1.Submission{Job: q.Job})}).Format(q.Format); err != nil {
		return err
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
			f.close()
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
	stop()
	<-ended
	if err == nil {
		f.close()
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

// lookAnew looks at the job as it is now.
func (f *bayFollower) lookAnew(ctx context.Context) (done bool, err error) {
	if f.bay, err = f.client.Bay(f.ask.Job); err != nil {
		return false, err
	}
	return f.look(ctx)
}

// look does what the state of the job asks for; done says that there is nothing more to follow.
func (f *bayFollower) look(ctx context.Context) (done bool, err error) {
	b := f.bay
	f.shout()
	if !f.began {
		if err := f.resume(ctx); err != nil {
			return false, err
		}
		f.began = true
	}
	if open := b.Corridor.GetNumber(); open != 0 {
		f.corridor = open
	}
	switch {
	case b.Job.GetState() == "closed":
		f.tell("job %d is closed", b.Job.GetNumber())
		return true, nil
	case f.corridor != 0 && b.Corridor == nil:
		f.tell("corridor %d is closed", f.corridor)
		return true, nil
	case b.Release == nil:
		f.offered = nil
		f.tell("%v", b.None)
	case f.lost != b.Release.GetNumber() && b.First(f.notReadBack) != "":
		f.offered = nil
		f.tell("%s", b.First(f.notReadBack))
	case f.lost != b.Release.GetNumber() && b.LastOf.GetNumber() == b.Release.GetNumber():
		f.offered = nil
		f.tell("%s is the newest release, and collected; %s", client.Name(b.Release), next(b.Corridor))
	case f.skipped == b.Release.GetNumber(), f.offered != nil && proto.Equal(f.offered.Submission, b.Release):
	default:
		return false, f.offer(ctx)
	}
	return false, nil
}

// next is where the next release comes from.
func next(c *recordv1.Corridor) string {
	if c == nil {
		return "the next is waited for"
	}
	return fmt.Sprintf("corridor %d is %s", c.GetNumber(), client.CorridorState(c))
}

// resume says what became of the file that was collected last: a crash may have come between the ledger and the disk.
func (f *bayFollower) resume(ctx context.Context) error {
	b := f.bay
	if b.LastOf == nil || !b.Owed || !record.IsRelease(b.LastOf) {
		return nil
	}
	r, err := f.client.Review(ctx, f.ask.Job, b.LastOf.GetNumber())
	if err != nil {
		return f.failed(err)
	}
	path := f.path(b.LastOf)
	same, err := f.sameFile(path, r)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		f.lost = b.LastOf.GetNumber()
		f.say(fmt.Sprintf("%s was collected, and %s is not there", client.Name(b.LastOf), path))
	case err != nil:
		return err
	case same:
		f.say(fmt.Sprintf("%s is on the disk already: %s", client.Name(b.LastOf), path))
	default:
		f.say(fmt.Sprintf("%s holds something else than %s", path, client.Name(b.LastOf)))
	}
	f.written = r
	return nil
}

// press does what a key asks for.
func (f *bayFollower) press(ctx context.Context, key rune) (done bool, err error) {
	switch {
	case key == 'q' || key == keyInterrupt:
		return true, nil
	case key == keyEnter && f.offered != nil:
		return false, f.write(ctx)
	case key == keyEnter && f.skipped != 0:
		f.skipped = 0
		return f.look(ctx)
	case key == 's' && f.offered != nil:
		f.skipped, f.offered = f.offered.Submission.GetNumber(), nil
		fmt.Fprintf(f.errOut, "%d.%d is skipped; Enter offers it again\n", f.ask.Job, f.skipped)
	case key == 't' && f.offered != nil:
		return false, f.whole(ctx)
	default:
		f.prompt()
	}
	return false, nil
}

func (f *bayFollower) prompt() {
	if f.offered == nil {
		fmt.Fprintln(f.errOut, "nothing is offered now; keys: q ends")
		return
	}
	fmt.Fprintf(f.errOut, "keys: Enter writes %s, s skips it, t shows its tables whole, q ends\n", f.path(f.offered.Submission))
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
	if f.bay.Recalled.GetSince().GetEntry() == f.shouted {
		return
	}
	f.shouted = f.bay.Recalled.GetSince().GetEntry()
	f.bell()
	text := "do not drive: " + f.bay.Recalled.GetSays()
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
		f.shouted = 0
		f.bay = b
		f.shout()
	case b.Owed:
		f.aside("", fmt.Sprintf("before the car leaves, %s is read back: witnessmark readback %d FILE", b.LastName(), f.ask.Job))
	default:
		f.aside("", fmt.Sprintf("%s was collected last, and read back", b.LastName()))
	}
}
