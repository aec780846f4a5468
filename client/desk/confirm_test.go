package desk

import (
	"bytes"
	"context"
	"crypto/ed25519"
	"io"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"witnessmark/client"
)

// screen is a terminal's output that a test reads while it is written.
type screen struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *screen) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *screen) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

func TestTheTerminalAsksForEachSignature(t *testing.T) {
	for answer, yes := range map[string]bool{"yes\n": true, " YES \n": true, "no\n": false, "\n": false, "y\n": false, "": false} {
		in, type_ := io.Pipe()
		out := new(screen)
		confirm := NewTerminal(in, out).For("lead")
		go func() {
			for !strings.Contains(out.String(), "Type yes: ") {
				time.Sleep(time.Millisecond)
			}
			_, _ = io.WriteString(type_, answer)
			_ = type_.Close()
		}()
		err := confirm.Confirm(context.Background(), "sign off 1.1\x1b[2J\nlead: nothing", "")
		if (err == nil) != yes {
			t.Errorf("%q: %v", answer, err)
		}
		if s := out.String(); strings.Contains(s, "\x1b") || strings.Contains(s, "\n") || !strings.Contains(s, "lead: sign off 1.1") {
			t.Errorf("the question is %q", s)
		}
	}
}

// TestALineTypedBeforeTheQuestionIsNoAnswer: what lies in the terminal already was not said to this question.
func TestALineTypedBeforeTheQuestionIsNoAnswer(t *testing.T) {
	in, typed := io.Pipe()
	defer typed.Close()
	confirm := NewTerminal(in, io.Discard).For("lead")
	if _, err := io.WriteString(typed, "yes\n"); err != nil {
		t.Fatal(err)
	}
	if _, err := io.WriteString(typed, "\n"); err != nil { // read once the line before was dropped
		t.Fatal(err)
	}
	ctx, cancel := context.WithTimeout(context.Background(), 300*time.Millisecond)
	defer cancel()
	if err := confirm.Confirm(ctx, "sign off 1.1", ""); err == nil {
		t.Error("an earlier yes signed")
	}
}

func TestThePassphraseIsOfThisKey(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "key")
	key, err := client.NewKey(file, "", []byte(passphrase))
	if err != nil {
		t.Fatal(err)
	}
	other := make(ed25519.PublicKey, ed25519.PublicKeySize)
	bare := filepath.Join(dir, "bare")
	bareKey, err := client.NewKey(bare, "", nil)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what, typed, says string
		by                ByPassphrase
	}{
		{"right", passphrase, "", ByPassphrase{file, key}},
		{"wrong", "battery staple", "does not open your key", ByPassphrase{file, key}},
		{"none", "", "is missing", ByPassphrase{file, key}},
		{"another key in the file", passphrase, "another key", ByPassphrase{file, other}},
		{"a file that lost its passphrase", passphrase, "no passphrase any more", ByPassphrase{bare, bareKey}},
		{"no file", passphrase, "nothing was signed", ByPassphrase{filepath.Join(dir, "none"), key}},
	} {
		err := c.by.Confirm(context.Background(), "sign", c.typed)
		if (err == nil) != (c.says == "") || err != nil && !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v, want %q", c.what, err, c.says)
		}
		if err != nil && c.typed != "" && strings.Contains(err.Error(), c.typed) {
			t.Errorf("%s: %v prints what was typed", c.what, err)
		}
	}
	if (Never{}).Confirm(context.Background(), "sign", passphrase) == nil {
		t.Error("never is not never")
	}
}
