package desk

import (
	"errors"
	"fmt"
	"net/http"
	"os"
	"strings"
	"time"

	"witnessmark/client"
	"witnessmark/client/workshop"
	"witnessmark/store/signoff"
)

// ownKey are the fields by which somebody says which key is theirs. One that was made here before is gone on with.
func ownKey(home *client.Home) []field {
	passphrase := field{Kind: "secret", Name: "passphrase", Label: "Passphrase of your key", Must: true, Hint: "You choose it now. Every signature asks for it, and nobody can give it back to you."}
	again := field{Kind: "secret", Name: "again", Label: "The same once more"}
	file := field{Kind: "line", Name: "key", Label: "The file of a key that you have", Hint: "An OpenSSH Ed25519 key; its passphrase goes into the first box. Left empty, one is made: " + home.KeyPath(), Seldom: true}
	if client.FileExists(home.KeyPath()) {
		passphrase.Hint = "Of the key that was made here before: " + home.KeyPath()
		file.Hint = "An OpenSSH Ed25519 key; its passphrase goes into the box above."
		return []field{passphrase, file}
	}
	return []field{passphrase, again, file}
}

// keyOf is the key that was said.
func (w *welcome) keyOf(a *asked) client.OwnKey {
	first := a.secret("passphrase")
	key := client.OwnKey{Path: a.value("key"), Ask: a.passphrase, New: a.passphrase}
	switch {
	case key.Path != "":
		if _, err := os.Stat(key.Path); err != nil {
			a.wrong("key", err)
		}
		return key
	case client.FileExists(w.Home.KeyPath()):
	case len(first) == 0:
		a.wrong("passphrase", errors.New("a new key needs a passphrase: else whoever is at this machine could sign"))
	case string(first) != string(a.secret("again")):
		a.wrong("again", errors.New("the two passphrases differ"))
	}
	key.Path = w.Home.KeyPath()
	return key
}

// joins are the fields of somebody who joins, as far as they have said them already.
func (w *welcome) joins() []field {
	invitation := field{Kind: "text", Name: "invitation", Label: "The invitation", Hint: "The line that the lead sent you; how mail broke it does not matter.", Must: true}
	name := field{Kind: "line", Name: "name", Label: "Your name", Hint: "It stands under all that you sign, for ever.", Must: true}
	roles := field{Kind: "ticks", Name: "role", Label: "What you do", Options: rolesOffered}
	if l := w.last; l != nil {
		invitation.Value, name.Value, roles.Chosen = l.Invitation.String(), l.Introduction.Name, l.Introduction.Roles
	}
	return append([]field{invitation, name, roles}, ownKey(w.Home)...)
}

// join is the form of somebody who joins, or what they wait for.
func (w *welcome) join(out http.ResponseWriter, r *http.Request) error {
	if w.joining != nil {
		return w.showJoining(out, r, nil)
	}
	a := w.desk.asks(r, w.joins()...)
	if r.Method != http.MethodPost {
		a.wrong("invitation", w.tried)
		a.show(out, "Join a workshop", "join")
		return nil
	}
	a.must()
	i, err := client.ParseInvitation(a.value("invitation"))
	a.wrong("invitation", err)
	a.wrong("name", signoff.CheckName(a.value("name")))
	if len(r.PostForm["role"]) == 0 {
		a.wrong("role", errors.New("tick one at least"))
	}
	key := w.keyOf(a)
	if a.bad == nil {
		a.beside(workshop.Abandon(w.life, w.Home))
	}
	if a.bad == nil {
		w.joining, err = client.BeginJoining(w.Home, i, a.value("name"), r.PostForm["role"], key)
		a.beside(err, "key")
	}
	if a.bad != nil {
		a.show(out, "Join a workshop", "join")
		return nil
	}
	w.last, w.tried = nil, nil
	http.Redirect(out, r, "/join", http.StatusSeeOther)
	return nil
}

// leave forgets who joins; their key stays.
func (w *welcome) leave(out http.ResponseWriter, r *http.Request) error {
	if w.joining != nil {
		if err := w.joining.GiveUp(); err != nil {
			return err
		}
		w.last, w.joining, w.tried = w.joining, nil, nil
	}
	http.Redirect(out, r, "/join", http.StatusSeeOther)
	return nil
}

type joiningBody struct {
	client.Introduction
	Line, KeyID string
	Where       string // the server
	Away        string // why the last try did not come to an answer
	Ask         *asked // the passphrase, where the key is not open
	News        int    // how much there was when the page was made
}

// showJoining is the page that goes on by itself; a is what was typed in it, or nil.
func (w *welcome) showJoining(out http.ResponseWriter, r *http.Request, a *asked) error {
	j := w.joining
	b := joiningBody{Introduction: j.Introduction, Line: j.Introduction.String(), Where: strings.Join(j.Invitation.Addresses, ", "), News: w.count}
	if key, err := signoff.ParsePublicKey("the key", []byte(j.Introduction.Key)); err == nil {
		b.KeyID = string(signoff.Fingerprint(key))
	}
	b.Away = w.why()
	p, bad := page{Title: "Waiting for the lead"}, error(nil)
	if j.Locked() {
		if p.Title, b.Ask = "Go on joining", a; a == nil {
			b.Ask = w.asksPassphrase(r)
		}
		bad = b.Ask.bad
	}
	w.desk.show(out, p, statusOf(r, bad), "joining", b)
	return nil
}

// pace is how often it is asked whether somebody who joins is enrolled by now.
const pace = 2 * time.Second

// waits goes on until the desk is somebody's, or has ended.
func (w *welcome) waits() (opened bool) {
	tick := time.NewTicker(pace)
	defer tick.Stop()
	for {
		select {
		case <-w.life.Done():
			return false
		case <-w.desk.opened:
			w.turn.Lock()
			defer w.turn.Unlock()
			w.tell()
			return true
		case <-tick.C:
		}
		w.turn.Lock()
		j := w.joining
		if j != nil && j.Locked() {
			j = nil
		}
		w.turn.Unlock()
		if j != nil {
			c, err := j.Try(w.life)
			w.came(j, c, err)
		}
	}
}

// came is what a try came to.
func (w *welcome) came(j *client.Joining, c *client.Client, err error) {
	w.turn.Lock()
	defer w.turn.Unlock()
	if err == nil {
		if w.joining, w.tried = nil, w.opens(c); w.tried != nil {
			w.tell()
		}
		return
	}
	if w.joining != j { // they left
		return
	}
	if client.KindOf(err) == client.Distrust {
		w.joining, w.last = nil, j
	}
	was := w.why()
	if w.tried = err; w.why() != was {
		w.tell()
	}
}

// why is what the last try failed for, other than that nobody has enrolled them yet.
func (w *welcome) why() string {
	if w.tried == nil || errors.Is(w.tried, client.ErrNotEnrolled) {
		return ""
	}
	return w.desk.plain(w.tried)
}

// tell has open pages look again.
func (w *welcome) tell() {
	w.count++
	close(w.news)
	w.news = make(chan struct{})
}

// stream tells a page of the welcome once it is not as it was made any more.
func (w *welcome) stream(out http.ResponseWriter, r *http.Request) {
	out.Header().Set("Content-Type", "text/event-stream")
	w.turn.Lock()
	news, count := w.news, w.count
	w.turn.Unlock()
	if http.NewResponseController(out).Flush() != nil {
		return
	}
	if count == numberIn(r, "since") {
		select {
		case <-r.Context().Done():
			return
		case <-news:
		}
	}
	fmt.Fprint(out, "event: moved\ndata: on\n\n")
}
