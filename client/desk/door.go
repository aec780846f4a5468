package desk

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"html/template"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"
)

// door decides who gets in: the browser that the person opened on the private file, and nobody else.
type door struct {
	host   string // exactly what a browser sends for this address
	cookie string // has the port in its name: cookies of one host are shared by all its ports
	file   string
	life   time.Duration
	now    func() time.Time

	mu       sync.Mutex
	codes    map[[32]byte]time.Time // hash of a code, and until when it works
	sessions map[[32]byte]bool
}

func newDoor(addr, dir string, life time.Duration) (*door, error) {
	_, port, err := net.SplitHostPort(addr)
	if err != nil {
		return nil, err
	}
	d := &door{host: addr, cookie: "witnessmark-desk-" + port, file: filepath.Join(dir, "open-the-desk.html"), life: life,
		now: time.Now, codes: map[[32]byte]time.Time{}, sessions: map[[32]byte]bool{}}
	return d, d.renew()
}

var doorPage = template.Must(template.New("door").Parse(`<!doctype html>
<html lang="en"><meta charset="utf-8"><meta name="referrer" content="no-referrer"><title>Opening the desk</title>
<form method="post" action="http://{{.Host}}/enter"><input type="hidden" name="code" value="{{.Code}}"><button>Open the desk</button></form>
<script>document.forms[0].submit()</script></html>
`))

// renew writes a new code into the private file; the last one works until its own time is over.
func (d *door) renew() error {
	code := rand.Text()
	d.mu.Lock()
	for k, until := range d.codes {
		if !d.now().Before(until) {
			delete(d.codes, k)
		}
	}
	d.codes[sha256.Sum256([]byte(code))] = d.now().Add(d.life)
	d.mu.Unlock()
	f, err := os.CreateTemp(filepath.Dir(d.file), ".door-") // made with mode 0600
	if err != nil {
		return err
	}
	err = doorPage.Execute(f, struct{ Host, Code string }{d.host, code})
	if e := f.Close(); err == nil {
		err = e
	}
	if err != nil {
		return err
	}
	return os.Rename(f.Name(), d.file)
}

// keepFresh puts a new code into the file before the last one has run out.
func (d *door) keepFresh(ctx context.Context) {
	tick := time.NewTicker(max(d.life*5/6, time.Millisecond))
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			_ = d.renew() // tried again at the next tick; meanwhile the file's code is refused
		}
	}
}

// enter spends a code; the answer is a new session's token.
func (d *door) enter(code string) (string, bool) {
	h := sha256.Sum256([]byte(code))
	d.mu.Lock()
	until, ok := d.codes[h]
	delete(d.codes, h)
	if !ok || !d.now().Before(until) {
		d.mu.Unlock()
		return "", false
	}
	token := rand.Text() + rand.Text()
	d.sessions[sha256.Sum256([]byte(token))] = true
	d.mu.Unlock()
	_ = d.renew()
	return token, true
}

// known says whether a request carries a session.
func (d *door) known(r *http.Request) bool {
	c, err := r.Cookie(d.cookie)
	if err != nil {
		return false
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.sessions[sha256.Sum256([]byte(c.Value))]
}

const policy = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self' data:; connect-src 'self'; " +
	"form-action 'self'; frame-ancestors 'none'; base-uri 'none'"

// guard stands before every page. Its order matters: the host name first, since a rebound name
// makes everything else look right.
func (d *Desk) guard(next http.Handler) http.Handler {
	cross := http.NewCrossOriginProtection()
	cross.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		d.refuse(w, r, http.StatusForbidden, "This request came from another page.", "The desk takes requests from its own pages only.")
	}))
	inner := cross.Handler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch {
		case !topLevel(r) && r.Header.Get("Sec-Fetch-Site") != "same-origin":
			d.refuse(w, r, http.StatusForbidden, "This request did not come from a page of the desk.",
				"Your browser has to say so with Sec-Fetch-Site; every current one does.")
		case !strings.HasPrefix(r.URL.Path, "/assets/") && !d.door.known(r):
			d.refuse(w, r, http.StatusUnauthorized, "The desk does not know this browser.",
				"Open the file that the desk named in its terminal, in a browser of the same person. It lets one browser in each time.")
		default:
			next.ServeHTTP(w, r)
		}
	}))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", policy)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cache-Control", "no-store")
		switch {
		case r.Host != d.door.host:
			http.Error(w, "the desk is at "+d.door.host+" and answers to no other name", http.StatusMisdirectedRequest)
		case r.Method == http.MethodPost && r.URL.Path == "/enter":
			d.enter(w, r) // comes from a file, so from no origin: its code is what counts
		default:
			inner.ServeHTTP(w, r)
		}
	})
}

// topLevel is a GET that shows in the address bar.
func topLevel(r *http.Request) bool {
	return r.Method == http.MethodGet && r.Header.Get("Sec-Fetch-Mode") == "navigate" && r.Header.Get("Sec-Fetch-Dest") == "document"
}

func (d *Desk) enter(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, 4096)
	token, ok := d.door.enter(r.PostFormValue("code"))
	if !ok {
		d.refuse(w, r, http.StatusForbidden, "This code is spent.", "A code works once, and for a minute. Open the file again: it holds a fresh one.")
		return
	}
	http.SetCookie(w, &http.Cookie{Name: d.door.cookie, Value: token, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode})
	// Not a redirect: a Strict cookie is not sent along one that began outside. A page of our own may lead on.
	d.show(w, page{Title: "The desk is open"}, http.StatusOK, "entered", nil)
}

// refuse answers with a page that says no, or a line where no page was asked for.
func (d *Desk) refuse(w http.ResponseWriter, r *http.Request, status int, what, todo string) {
	d.show(w, page{Title: what}, status, "refused", todo)
}
