package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os/exec"
	"time"

	"witnessmark/client"
)

// watcher says what is new in a tray, and runs a program of the workshop's own for it.
type watcher struct {
	*app
	client  *client.Client
	program string
	seen    map[string]bool // nil before the first look
}

// event is an alarm, or something that waits.
type event struct {
	id, text string
	value    any
}

func newWatcher(a *app, c *client.Client, program string) (*watcher, error) {
	w := &watcher{app: a, client: c}
	if program == "" {
		return w, nil
	}
	var err error
	if w.program, err = exec.LookPath(program); err != nil {
		return nil, usage("--exec: %v", err)
	}
	return w, nil
}

// run shows the tray, and then what is new, until the context ends.
func (w *watcher) run(ctx context.Context, most int) error {
	w.aside("", "stop with Ctrl-C")
	return w.client.Follow(ctx, func() error { return w.look(ctx, most) },
		func(err error) { w.say(fmt.Sprintf("%v; it is asked again", err)) },
		func() { w.say("the server answers again") })
}

func (w *watcher) look(ctx context.Context, most int) error {
	t, err := w.client.Tray(ctx, everything)
	if ctx.Err() != nil {
		return nil
	}
	if err != nil {
		return err
	}
	before, first := w.seen, w.seen == nil
	w.seen = map[string]bool{}
	var fresh []event
	for _, e := range events(t) {
		w.seen[e.id] = true
		if !before[e.id] {
			fresh = append(fresh, e)
		}
	}
	if first {
		if most = max(most, 1); len(t.Waits) > most {
			t.Waits, t.More = t.Waits[:most], len(t.Waits)-most
		}
		return w.printTray(t)
	}
	for _, e := range fresh {
		if w.json() {
			writeLine(w.out, e.value)
		} else {
			fmt.Fprintln(w.out, e.text)
		}
		w.tell(ctx, e)
	}
	return nil
}

func events(t *client.Tray) (out []event) {
	for _, al := range t.Alarms {
		out = append(out, event{fmt.Sprint(al.Alarm, al.About, al.Entry), alarmLine(al), al})
	}
	for _, wait := range t.Waits {
		out = append(out, event{fmt.Sprint(wait.Waits, wait.Name, wait.Entry),
			fmt.Sprintf("%s, car %s: %s", waitText(wait), client.OneLine(wait.Plate), saysOf(wait)), wait})
	}
	return out
}

// patience is how long a program may take for one event.
const patience = time.Minute

// tell runs the program. That it fails is said, and ends nothing.
func (w *watcher) tell(ctx context.Context, e event) {
	if w.program == "" {
		return
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	input, err := json.Marshal(e.value)
	if err == nil {
		cmd := exec.CommandContext(ctx, w.program)
		cmd.Stdin, cmd.Stdout, cmd.Stderr = bytes.NewReader(append(input, '\n')), w.errOut, w.errOut
		cmd.WaitDelay = time.Second
		err = cmd.Run()
	}
	if err != nil {
		w.say(fmt.Sprintf("%s, for %s: %v", w.program, e.text, err))
	}
}
