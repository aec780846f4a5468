package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"
	"unicode"

	"witnessmark/client"
)

// saveFollower submits a file each time that it was saved and somebody says so.
type saveFollower struct {
	*app
	client   *client.Client
	ask      client.NewSubmission
	keyboard *keyboard

	last    *client.Review // the person's newest submission in the job; nil for none
	passed  string         // the image that was not to be submitted
	pending []byte         // could not be compared while the server was away
	offered *client.Review // waits for its note; nil for none
	note    []rune
	status  string
}

func (a *app) followSaves(ctx context.Context, c *client.Client, n client.NewSubmission) error {
	if !a.terminal() || a.json() {
		return usage("submit --follow asks for notes at a terminal; without one: submit %d FILE --note TEXT", n.Job)
	}
	f := &saveFollower{app: a, client: c, ask: n}
	return f.run(ctx)
}

// newest finds what the person submitted last, once what became of an action is known whose answer was lost.
func (f *saveFollower) newest(ctx context.Context) error {
	if err := f.client.Resume(ctx); err != nil {
		return err
	}
	me, err := f.client.Me()
	if err != nil {
		return err
	}
	j, err := f.client.Job(f.ask.Job)
	if err != nil {
		return err
	}
	for _, s := range slices.Backward(j.GetSubmissions()) {
		if s.GetSubmitted().GetPerson() != me.GetName() {
			continue
		}
		if f.last == nil || f.last.Submission.GetNumber() != s.GetNumber() {
			f.last, err = f.client.Review(ctx, f.ask.Job, s.GetNumber())
		}
		return err
	}
	return nil
}

// run goes on until the person ends it.
func (f *saveFollower) run(ctx context.Context) (err error) {
	if f.keyboard, err = f.openKeyboard(); err != nil {
		return err
	}
	defer func() {
		if f.offered != nil {
			fmt.Fprintln(f.errOut) // the note's line is not ended
		}
		f.keyboard.end()
	}()
	f.aside("", "stop with Ctrl-C")
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	saves := make(chan save)
	go watchSaves(ctx, f.ask.Path, func(s save) { deliver(ctx, saves, s) })
	for err == nil {
		var again <-chan time.Time
		if f.pending != nil {
			again = time.After(time.Second)
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case s := <-saves:
			err = f.look(ctx, s)
		case <-again:
			err = f.look(ctx, save{file: f.pending})
		case key, there := <-f.keyboard.keys:
			if !there {
				return usage("the terminal is gone")
			}
			if key == keyInterrupt {
				return nil
			}
			err = f.press(ctx, key)
		}
	}
	return err
}

// look compares what was saved, and asks for a note where it is new.
func (f *saveFollower) look(ctx context.Context, s save) error {
	if f.offered != nil {
		fmt.Fprintln(f.errOut)
	}
	f.pending, f.offered = nil, nil
	if s.err != nil {
		f.tell("%v: nothing is sent", s.err)
		return nil
	}
	n := f.ask
	n.File = s.file
	r, err := f.client.Preview(ctx, n)
	if err == nil {
		err = f.newest(ctx)
	}
	if err != nil {
		return f.failed(err, s.file, ": nothing is sent")
	}
	if same := f.known(r); same != "" {
		f.note = nil
		f.tell("%s is unchanged: it is %s", f.ask.Path, same)
		return nil
	}
	f.status, f.ask.File, f.offered = "", s.file, r
	if err := f.show(ctx, r); err != nil {
		return f.failed(err, s.file, ": nothing is sent")
	}
	f.keyboard.dropped()
	f.prompt()
	return nil
}

// prompt asks for the note on one line, whose end alone is shown where it is longer: no terminal goes back to the line above.
func (f *saveFollower) prompt() {
	const ask = "note (Enter submits, Escape passes it over): "
	note := string(f.note)
	if room := max(f.width()-len(ask)-1, 8); f.width() > 0 && len(f.note) > room {
		note = "…" + string(f.note[len(f.note)-room+1:])
	}
	fmt.Fprint(f.errOut, "\r\x1b[K", ask, note)
}

// press writes the note, submits, or passes over.
func (f *saveFollower) press(ctx context.Context, key rune) error {
	switch {
	case f.offered == nil:
		f.tell("nothing to submit; %s is watched, and Ctrl-C ends", f.ask.Path)
	case key == keyEscape, key == keyEnter && string(f.note) == "n":
		f.passed, f.offered, f.note = f.offered.Submission.GetImage().GetSha256(), nil, nil
		fmt.Fprintln(f.errOut, "\npassed over: nothing is sent")
	case key == keyEnter:
		fmt.Fprintln(f.errOut)
		return f.submit(ctx)
	default:
		switch {
		case key == keyBackspace:
			f.note = f.note[:max(0, len(f.note)-1)]
		case unicode.IsPrint(key):
			f.note = append(f.note, key)
		}
		f.prompt()
	}
	return nil
}

// submit sends what was shown, whatever the file holds by now.
func (f *saveFollower) submit(ctx context.Context) error {
	n := f.ask
	n.Note = string(f.note)
	s, _, err := f.client.Submit(ctx, n)
	if err != nil {
		return f.failed(err, n.File, "") // it may have been, where the answer is lost
	}
	foreseen := f.offered.Foreseen()
	f.offered, f.note, f.ask.From = nil, nil, s.GetNumber()
	fmt.Fprintf(f.out, "%s %s\n", client.Name(s), s.GetJudgement().GetVerdict())
	r, err := f.client.Review(ctx, s.GetJob(), s.GetNumber())
	switch {
	case client.KindOf(err) == client.Distrust:
		return err
	case err != nil:
		f.say(fmt.Sprintf("%s is entered; what became of it cannot be told here: %v", client.Name(s), err))
		return nil
	case r.Corridor != nil:
		fmt.Fprintln(f.out, r.Corridor.Says())
	case foreseen != nil:
		fmt.Fprintf(f.out, "waits for a sign-off: corridor %d covers nothing any more\n", foreseen.Of.GetNumber())
	}
	f.last = r
	return nil
}

// failed says why a file was not compared or sent: it is tried again where the server was away, and else when it is
// saved again. What is not to be trusted ends the command.
func (f *saveFollower) failed(err error, file []byte, so string) error {
	if errors.Is(err, context.Canceled) || client.KindOf(err) == client.Distrust {
		return err
	}
	f.offered = nil
	if client.KindOf(err) == client.Away {
		f.pending, so = file, so+"; it is tried again"
	}
	f.tell("%v%s", err, so)
	return nil
}

func (f *saveFollower) tell(format string, args ...any) {
	if line := fmt.Sprintf(format, args...); line != f.status {
		f.status = line
		f.say(line)
	}
}
