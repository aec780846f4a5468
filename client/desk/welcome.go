package desk

import (
	"context"
	"net/http"
	"sync"

	"witnessmark/client"
)

// Welcome is what a desk needs that is nobody's yet.
type Welcome struct {
	Home *client.Home // where it is known whose it is, once it is somebody's
	// Confirms chooses what stands between the page and the key of whom it becomes; nil lets the desk sign nothing.
	Confirms func(*client.Client) (Confirmer, error)
}

// welcome is a desk before it is somebody's: a workshop is started here, or joined, or the key of whose it is is opened.
type welcome struct {
	Welcome
	desk *Desk
	life context.Context // the desk's: what was begun here does not end because its page was left

	turn    sync.Mutex      // one thing is done at a time
	joining *client.Joining // who joins; nil for nobody
	last    *client.Joining // who did, where that came to nothing
	tried   error           // why the last try did not log in
	news    chan struct{}   // closed when a try comes to something else than the one before
	count   int             // how often it was
}

func (d *Desk) newWelcome(life context.Context, o Welcome) *welcome {
	w := &welcome{Welcome: o, desk: d, life: life, news: make(chan struct{})}
	if w.joining, w.tried = client.JoiningIn(w.Home); w.joining != nil {
		_ = w.joining.Unlock(nil) // of a key without a passphrase, or of one that ssh-agent holds
	}
	mux := http.NewServeMux()
	d.assets(mux)
	mux.HandleFunc("GET /events", w.stream)
	for pattern, fn := range map[string]func(http.ResponseWriter, *http.Request) error{
		"GET /{$}":     w.offers,
		"GET /start":   w.start,
		"POST /start":  w.start,
		"GET /join":    w.join,
		"POST /join":   w.join,
		"POST /leave":  w.leave,
		"POST /unlock": w.unlock,
		"GET /":        home,
	} {
		mux.HandleFunc(pattern, w.handle(fn))
	}
	d.inside.Store(mux)
	return w
}

// home leads to what the desk shows first.
func home(out http.ResponseWriter, r *http.Request) error {
	http.Redirect(out, r, "/", http.StatusSeeOther)
	return nil
}

// maxSaid is how much a form of the welcome takes.
const maxSaid = 64 << 10

// handle has one page at a time; a desk that was opened while it waited shows its own.
func (w *welcome) handle(fn func(http.ResponseWriter, *http.Request) error) http.HandlerFunc {
	return func(out http.ResponseWriter, r *http.Request) {
		r.Body = http.MaxBytesReader(out, r.Body, maxSaid)
		w.turn.Lock()
		defer w.turn.Unlock()
		if w.desk.isOpen() {
			fn = home
		}
		if err := fn(out, r); err != nil {
			w.desk.show(out, page{Title: "This was not done", Problem: w.desk.plain(err), Try: try(err)}, statusOf(r, err), "problem", "/")
		}
	}
}

func (w *welcome) offers(out http.ResponseWriter, r *http.Request) error {
	switch {
	case w.Home.LoggedIn():
		w.asksPassphrase(r).show(out, "Open your desk", "unlock")
	case w.joining != nil:
		http.Redirect(out, r, "/join", http.StatusSeeOther)
	default:
		w.desk.show(out, page{Title: "Welcome"}, http.StatusOK, "welcome", nil)
	}
	return nil
}

// opens makes the desk its client's.
func (w *welcome) opens(c *client.Client) error {
	if err := w.desk.own.add(c.Close); err != nil {
		return err
	}
	var confirm Confirmer
	if w.Confirms != nil {
		var err error
		if confirm, err = w.Confirms(c); err != nil {
			return err
		}
	}
	w.desk.opens(c, confirm)
	return nil
}

func (w *welcome) asksPassphrase(r *http.Request) *asked {
	return w.desk.asks(r, field{Kind: "secret", Name: "passphrase", Label: "Passphrase of your key", Must: true})
}

// unlock opens the key of whose desk this is, or of who joins.
func (w *welcome) unlock(out http.ResponseWriter, r *http.Request) error {
	a := w.asksPassphrase(r)
	if w.Home.LoggedIn() {
		c, err := client.Open(w.Home, a.passphrase)
		if err == nil {
			err = w.opens(c)
		}
		if err == nil {
			return home(out, r)
		}
		a.wrong("passphrase", err)
		a.show(out, "Open your desk", "unlock")
		return nil
	}
	if w.joining == nil {
		return home(out, r)
	}
	if w.joining.Locked() {
		if err := w.joining.Unlock(a.passphrase); err != nil {
			a.wrong("passphrase", err)
			return w.showJoining(out, r, a)
		}
	}
	return home(out, r)
}
