package main

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"witnessmark/client"
)

// What a person is told: one lower-case line, and one that says what to do where there is something.
func TestComplaint(t *testing.T) {
	for _, c := range []struct {
		err  error
		want string
	}{
		{errors.New("No such file"), "witnessmark: no such file\n"},
		{errors.New("TLS is off"), "witnessmark: TLS is off\n"},
		{errors.New("two\nlines\x1b[2Jand an escape"), "witnessmark: two lines [2Jand an escape\n"},
		{&client.Error{Text: "not this", Try: "that"}, "witnessmark: not this\ntry: that\n"},
		{fmt.Errorf("while: %w", &client.Error{Op: "collect", Err: &client.Error{Text: "inner", Try: "deep"}}), "witnessmark: while: collect: inner\ntry: deep\n"},
	} {
		var out strings.Builder
		(&app{errOut: &out}).complain(c.err)
		if out.String() != c.want {
			t.Errorf("%q, want %q", out.String(), c.want)
		}
	}
}

func TestStatusOfAFailure(t *testing.T) {
	for kind, want := range map[client.Kind]int{client.Failed: 2, client.Distrust: 1, client.Upgrade: 2, client.Refused: 2, client.Usage: 2, client.Away: 2} {
		if got := statusOf(fmt.Errorf("while: %w", &client.Error{Kind: kind, Text: "x"})); got != want {
			t.Errorf("kind %d: status %d, want %d", kind, got, want)
		}
	}
	if got := statusOf(errors.New("disk full")); got != 2 {
		t.Errorf("status %d", got)
	}
}

// Every command says what it does, in one line, and takes --format.
func TestEveryCommandSaysWhatItDoes(t *testing.T) {
	root := (&app{}).root()
	want := "backup check collect compare convert definition demo erase history inspect job key ledger limits login note person read readback return settle sheet sign submit verify whoami withdraw"
	have := map[string]bool{}
	for _, c := range root.Commands() {
		have[c.Name()] = true
		for _, child := range append(c.Commands(), c) {
			if child.Short == "" || strings.Contains(child.Short, "\n") || strings.HasSuffix(child.Short, ".") {
				t.Errorf("%s: %q", child.CommandPath(), child.Short)
			}
		}
	}
	for _, name := range strings.Fields(want) {
		if !have[name] {
			t.Errorf("there is no command %s", name)
		}
	}
}
