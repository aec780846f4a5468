package main

import (
	"errors"
	"fmt"
	"strings"

	"witnessmark/client"
	"witnessmark/client/desk"
)

// desks starts one desk a role, says where each is, and how signatures are confirmed.
func (s *stageSet) desks() (stop func() error, err error) {
	var open []func() error
	stop = func() error {
		var errs []error
		for i := len(open) - 1; i >= 0; i-- {
			errs = append(errs, open[i]())
		}
		return errors.Join(errs...)
	}
	var t *desk.Terminal
	if s.a.terminal() {
		t = desk.NewTerminal(s.a.in, s.a.errOut)
	}
	var b strings.Builder
	b.WriteString("Each role has a desk. Open the file of one in a browser; use a profile or a private window for each,\n" +
		"or look at them one after another:\n\n")
	for _, role := range []string{"technician", "calibrator", "lead"} {
		home := &client.Home{Dir: s.path(role)}
		c, err := client.Open(home, nil)
		if err != nil {
			return nil, errors.Join(err, stop())
		}
		open = append(open, c.Close)
		confirm, err := desk.ConfirmerFor(c, home, false, t)
		if err != nil {
			return nil, errors.Join(err, stop())
		}
		d, err := desk.Start(desk.Options{Client: c, Confirm: confirm})
		if err != nil {
			return nil, errors.Join(err, stop())
		}
		open = append(open, d.Close)
		fmt.Fprintf(&b, "  %-11s %s  open %s\n", role, d.URL(), d.DoorFile())
	}
	b.WriteString("\nTo click through a job of your own, the images are in " + s.dir + ". ")
	if t == nil {
		b.WriteString("There is no terminal here to ask\nin, so these desks can look and not sign.")
	} else {
		b.WriteString("The demo's keys have no\npassphrase, so each signature asks for a yes in this terminal.")
	}
	s.say(b.String())
	return stop, nil
}
