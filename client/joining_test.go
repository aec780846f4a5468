package client

import (
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"witnessmark/store/signoff"
)

// joins begins to join the world's workshop in a folder of its own, with a key that has a passphrase.
func (w *world) joins(home *Home, passphrase string) (*Joining, error) {
	w.Helper()
	i, err := w.lead.Invite(w.fake.addr)
	w.must(nil, err)
	return BeginJoining(home, i, "Anna Berg", []string{"calibrator"}, OwnKey{Path: home.KeyPath(), Ask: typed(passphrase), New: typed(passphrase)})
}

func typed(passphrase string) Passphrase {
	return func(string) ([]byte, error) { return []byte(passphrase), nil }
}

// A joining is found again by the next process, which needs the passphrase to go on, and nothing else.
func TestJoiningGoesOn(t *testing.T) {
	w := newWorld(t)
	home := &Home{Dir: w.path("anna")}
	begun, err := w.joins(home, "correct horse")
	w.must(nil, err)
	kept, err := os.ReadFile(filepath.Join(home.Dir, joiningFile))
	if err != nil || strings.Contains(string(kept), "horse") || strings.Contains(string(kept), "PRIVATE") {
		t.Errorf("kept: %s, %v", kept, err)
	}
	if info, err := os.Stat(filepath.Join(home.Dir, joiningFile)); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("mode %v, %v", info.Mode(), err)
	}
	j, err := JoiningIn(home)
	if err != nil || j.Introduction.String() != begun.Introduction.String() || j.Invitation.String() != begun.Invitation.String() || !j.Locked() {
		t.Fatalf("%+v, %v", j, err)
	}
	if _, err := j.Try(ctx); KindOf(err) != Usage {
		t.Errorf("a locked key: %v", err)
	}
	if err := j.Unlock(typed("wrong")); !errors.Is(err, signoff.ErrPassphrase) {
		t.Errorf("a wrong passphrase: %v", err)
	}
	w.must(nil, j.Unlock(typed("correct horse")))
	if _, err := w.lead.EnrolIntroduced(ctx, j.Introduction); err != nil {
		t.Fatal(err)
	}
	// Two processes wait, and both are let in.
	for _, one := range []*Joining{j, begun} {
		c, err := one.Wait(ctx, func(err error) { t.Error(err) })
		w.must(nil, err)
		me, err := c.Me()
		if err != nil || me.GetName() != "Anna Berg" || c.Head().Size == 0 {
			t.Errorf("%v, %v", me, err)
		}
		w.must(nil, c.Close())
	}
	if j, err := JoiningIn(home); j != nil || err != nil || !home.LoggedIn() {
		t.Errorf("afterwards: %+v, %v", j, err)
	}
}

// A server that cannot be reached is asked again, and said once.
func TestJoiningWaits(t *testing.T) {
	w := newWorld(t)
	home := &Home{Dir: w.path("anna")}
	i, err := w.lead.Invite("127.0.0.1:1")
	w.must(nil, err)
	j, err := BeginJoining(home, i, "Anna", []string{"lead"}, OwnKey{Path: home.KeyPath()})
	w.must(nil, err)
	if _, err := j.Try(ctx); !Later(err) || KindOf(err) != Away {
		t.Errorf("%v", err)
	}
	waiting, stop := contextWithTimeout()
	said := 0
	_, err = j.Wait(waiting, func(error) { said++; stop() })
	if said != 1 || !errors.Is(err, waiting.Err()) {
		t.Errorf("said %d times, %v", said, err)
	}
	if j, err := JoiningIn(home); j == nil || err != nil {
		t.Errorf("it is not kept: %v", err)
	}
}

// What is not the invitation's ledger is distrusted, and nothing of it kept but the key.
func TestJoiningAnotherLedger(t *testing.T) {
	w := newWorld(t)
	for what, change := range map[string]func(*Invitation){
		"and not SHA256:AAA":                func(i *Invitation) { i.Fingerprint = "SHA256:" + strings.Repeat("A", 43) },
		"not the one whose head you were":   func(i *Invitation) { i.Head.Root = strings.Repeat("0", 64) },
		"entries is not the one whose head": func(i *Invitation) { i.Head.Size += 1000 },
	} {
		home := &Home{Dir: t.TempDir()}
		i, err := w.lead.Invite(w.fake.addr)
		w.must(nil, err)
		change(&i)
		j, err := BeginJoining(home, i, "Anna", []string{"lead"}, OwnKey{Path: home.KeyPath()})
		w.must(nil, err)
		_, err = j.Wait(ctx, func(err error) { t.Error(err) })
		w.refusedAs(err, Distrust, what)
		for _, name := range []string{joiningFile, configFile, copyFile, headFile} {
			if FileExists(home.path(name)) {
				t.Errorf("%q: %s is there", what, name)
			}
		}
		if !FileExists(home.KeyPath()) {
			t.Errorf("%q: the key is gone", what)
		}
	}
}

// Where it cannot begin, nothing was made.
func TestJoiningThatFails(t *testing.T) {
	w := newWorld(t)
	i, err := w.lead.Invite(w.fake.addr)
	w.must(nil, err)
	begin := func(dir, name string, roles []string, key OwnKey) error {
		_, err := BeginJoining(&Home{Dir: dir}, i, name, roles, key)
		return err
	}
	dir := t.TempDir()
	fresh := OwnKey{Path: filepath.Join(dir, "key")}
	w.refusedAs(begin(dir, "Anna  Berg", []string{"lead"}, fresh), Usage, "two blanks")
	w.refusedAs(begin(dir, "An/na", []string{"lead"}, fresh), Usage, "U+002F")
	w.refusedAs(begin(dir, "Anna", nil, fresh), Usage, "there is no role")
	w.refusedAs(begin(dir, "Anna", []string{"boss"}, fresh), Usage, `"boss"`)
	w.must(nil, os.WriteFile(fresh.Path+".pub", []byte("another's"), 0o600))
	w.refusedAs(begin(dir, "Anna", []string{"lead"}, fresh), Usage, "no key is written over")
	w.must(nil, os.Remove(fresh.Path+".pub"))
	w.must(nil, os.MkdirAll(filepath.Join(dir, joiningFile, "in the way"), 0o700))
	if err := begin(dir, "Anna", []string{"lead"}, fresh); err == nil || FileExists(fresh.Path) || FileExists(fresh.Path+".pub") {
		t.Errorf("%v, and a key is left", err)
	}
	w.must(nil, os.RemoveAll(filepath.Join(dir, joiningFile)))
	if names, err := os.ReadDir(dir); err != nil || len(names) != 0 {
		t.Errorf("left behind: %v, %v", names, err)
	}
	wrong := OwnKey{Path: w.path("locked"), Ask: typed("wrong")}
	_, err = NewKey(wrong.Path, "", []byte("right"))
	w.must(nil, err)
	if err := begin(dir, "Anna", []string{"lead"}, wrong); !errors.Is(err, signoff.ErrPassphrase) {
		t.Errorf("a wrong passphrase: %v", err)
	}
	there := &Home{Dir: w.path("not there yet")} // whoever has a key already need not have a folder
	_, err = BeginJoining(there, i, "Anna", []string{"lead"}, OwnKey{Path: wrong.Path, Ask: typed("right")})
	w.must(nil, err)
	if j, err := JoiningIn(there); err != nil || j == nil || j.Key != wrong.Path {
		t.Errorf("with a key that lies elsewhere: %+v, %v", j, err)
	}
}

// A joining that is damaged is said so, and never taken for another.
func TestDamagedJoining(t *testing.T) {
	w := newWorld(t)
	home := &Home{Dir: w.path("anna")}
	_, err := w.joins(home, "")
	w.must(nil, err)
	whole, err := os.ReadFile(home.path(joiningFile))
	w.must(nil, err)
	for cut := 0; cut < len(whole)-2; cut += 7 {
		w.must(nil, os.WriteFile(home.path(joiningFile), whole[:cut], 0o600))
		if j, err := JoiningIn(home); err == nil || j != nil || !strings.Contains(err.Error(), joiningFile+" is damaged") {
			t.Fatalf("cut at %d: %+v, %v", cut, j, err)
		}
	}
	// The key's file holds another key by now.
	w.must(nil, os.WriteFile(home.path(joiningFile), whole, 0o600))
	j, err := JoiningIn(home)
	w.must(nil, err)
	var text joiningText
	w.must(nil, json.Unmarshal(whole, &text))
	w.must(nil, errors.Join(os.Remove(text.Key), os.Remove(text.Key+".pub")))
	_, err = NewKey(text.Key, "", nil)
	w.must(nil, err)
	w.refusedAs(j.Unlock(nil), Usage, "holds another key")
}

// An invitation has the addresses that lead others to the server.
func TestInvite(t *testing.T) {
	w := newWorld(t)
	for _, c := range []struct{ own, given, want, here string }{
		{"127.0.0.1:7017", "", "127.0.0.1:7017", "127.0.0.1:7017"},
		{"127.0.0.1:7017,bay.lan:7017", "", "bay.lan:7017", ""},
		{"localhost:7017,[::1]:7017", "", "localhost:7017,[::1]:7017", "localhost:7017,[::1]:7017"},
		{"bay.lan:7017", "10.0.0.5:7, 127.0.0.2:9", "10.0.0.5:7,127.0.0.2:9", "127.0.0.2:9"},
	} {
		w.lead.own.config.Server = c.own
		i, err := w.lead.Invite(SplitList(c.given)...)
		if err != nil || strings.Join(i.Addresses, ",") != c.want || strings.Join(i.OnlyHere(), ",") != c.here {
			t.Errorf("%+v: %+v, %v", c, i, err)
		}
		if again, err := ParseInvitation(i.String()); err != nil || again.Head.Size != w.lead.Head().Size || again.Head.Root != w.lead.Head().Root || again.Fingerprint != w.lead.Fingerprint() {
			t.Errorf("%+v, %v", again, err)
		}
	}
	_, err := w.lead.Invite("bay.lan")
	w.refusedAs(err, Usage, "not where a server is")
}
