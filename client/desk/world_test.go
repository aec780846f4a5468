package desk

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"html"
	"io"
	"io/fs"
	"mime/multipart"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"golang.org/x/crypto/ssh"

	"witnessmark/client"
	"witnessmark/client/demo"
	"witnessmark/server"
	inuse "witnessmark/store/held"
)

// world is a server and three people, each with a home, a key with a passphrase, and a desk.
type world struct {
	testing.TB
	dir                          string
	srv                          *server.Server
	lead, technician, calibrator *person
	late                         atomic.Int64 // by how much the server's clock is behind, ns
	stop                         []func() error
	log                          screen // of desks that were nobody's
}

type person struct {
	name   string
	client *client.Client
	desk   *Desk
}

const passphrase = "correct horse"

var ctx = context.Background()

// begun are the worlds that tests begin with: each is made once, and its folder copied.
var begun struct {
	sync.Mutex
	dir  string // of all of them, removed in the end, or by the next tests where these are killed
	made map[string]bool
}

func TestMain(m *testing.M) {
	dir, done, err := inuse.Folder(os.TempDir(), "witnessmark-worlds-*")
	if err != nil {
		panic(err)
	}
	begun.dir = dir
	begun.made = map[string]bool{}
	code := m.Run()
	endBrowser()
	_ = done()
	os.Exit(code)
}

// begin is a copy of a world, which is made by what happens in the bare one, where there is none yet.
func begin(t testing.TB, name string, happens func(w *world)) *world {
	t.Helper()
	make := func(name string, build func(w *world)) {
		if begun.made[name] {
			return
		}
		w := &world{TB: t, dir: filepath.Join(begun.dir, name)}
		w.must(os.RemoveAll(w.dir)) // what a test that failed left
		w.must(os.Mkdir(w.dir, 0o700))
		build(w)
		w.stops()
		begun.made[name] = true
	}
	begun.Lock()
	defer begun.Unlock()
	make("bare", (*world).starts)
	make(name, func(w *world) { w.goesOn("bare"); happens(w) })
	w := &world{TB: t, dir: t.TempDir()}
	w.goesOn(name)
	t.Cleanup(w.stops)
	return w
}

// newWorld is a server and its people, who have the demo's definition and limits.
func newWorld(t testing.TB) *world { t.Helper(); return begin(t, "bare", nil) }

// submittedWorld is a world with a waiting submission: file is one of the demo's.
func submittedWorld(t testing.TB, file string) *world {
	t.Helper()
	return begin(t, file, func(w *world) { w.submitted(file) })
}

// collectedWorld is a world with a release that was written.
func collectedWorld(t testing.TB) *world {
	t.Helper()
	return begin(t, "collected", func(w *world) { w.collected() })
}

// twoSubmissionsWorld is a world with a release and a newer submission that nobody may sign.
func twoSubmissionsWorld(t testing.TB) *world {
	t.Helper()
	return begin(t, "two", func(w *world) { w.twoSubmissions() })
}

// goesOn takes up a copy of a world that was made.
func (w *world) goesOn(name string) {
	w.Helper()
	from := filepath.Join(begun.dir, name)
	w.must(filepath.WalkDir(from, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		to := w.dir + strings.TrimPrefix(path, from)
		if d.IsDir() {
			return os.MkdirAll(to, 0o700)
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		return os.WriteFile(to, b, 0o600)
	}))
	w.serve("127.0.0.1:0")
	w.lead, w.technician, w.calibrator = w.comes("lead"), w.comes("technician"), w.comes("calibrator")
}

// comes opens the home of somebody who logged in before, at another server.
func (w *world) comes(name string) *person {
	w.Helper()
	home := &client.Home{Dir: w.path("home-" + name)}
	config, err := home.Config()
	w.must(err)
	config.Server, config.Key = w.srv.Addr(), w.path(name)
	b, err := json.Marshal(config)
	w.must(err)
	w.must(os.WriteFile(filepath.Join(home.Dir, "config.json"), b, 0o600))
	c, err := client.Open(home, typedPassphrase)
	w.must(err)
	return w.person(name, home, c)
}

func typedPassphrase(string) ([]byte, error) { return []byte(passphrase), nil }

// person has a desk of their own.
func (w *world) person(name string, home *client.Home, c *client.Client) *person {
	w.Helper()
	confirm, err := ConfirmerFor(c, home, false, nil)
	w.must(err)
	d, err := Start(Options{Client: c, Confirm: confirm})
	w.must(err)
	w.stop = append(w.stop, func() error { return errors.Join(d.Close(), c.Close()) })
	return &person{name, c, d}
}

// stops ends all desks, and then the server.
func (w *world) stops() {
	w.Helper()
	for _, stop := range w.stop {
		if err := stop(); err != nil {
			w.Error(err)
		}
	}
	w.stop = nil
	if w.srv != nil {
		_ = w.srv.Stop()
	}
}

// starts makes a server, and people who have the demo's definition and limits.
func (w *world) starts() {
	w.Helper()
	w.key("lead")
	line, err := os.ReadFile(w.path("lead.pub"))
	w.must(err)
	public, _, _, _, err := ssh.ParseAuthorizedKey(line)
	w.must(err)
	print, err := server.Place{Dir: w.path("data")}.Init("lead", public.(ssh.CryptoPublicKey).CryptoPublicKey().(edKey), false)
	w.must(err)
	w.serve("127.0.0.1:0")
	lead := w.login("lead", print)
	for _, name := range []string{"technician", "calibrator"} {
		w.key(name)
		_, err := lead.client.Enrol(ctx, name, []string{name}, w.path(name+".pub"))
		w.must(err)
		w.login(name, print)
	}
	_, _, err = lead.client.AddDocument(ctx, client.Definitions, w.demo("dx1-1.8t.yaml"))
	w.must(err)
	_, _, err = lead.client.AddDocument(ctx, client.Limits, w.demo("dx1-road-98.yaml"))
	w.must(err)
}

// serve starts the server.
func (w *world) serve(listen string) {
	w.Helper()
	var err error
	w.srv, err = server.Start(server.Options{Place: server.Place{Dir: w.path("data")}, Listen: listen, Now: func() time.Time { return time.Now().Add(-time.Duration(w.late.Load())) }})
	w.must(err)
}

func (w *world) must(err error) {
	w.Helper()
	if err != nil {
		w.Fatal(err)
	}
}

func (w *world) path(name string) string { return filepath.Join(w.dir, name) }

var demoFiles = sync.OnceValues(demo.Files)

// demo is a file of the demo, written out.
func (w *world) demo(name string) string {
	w.Helper()
	files, err := demoFiles()
	w.must(err)
	w.must(os.WriteFile(w.path(name), files[name], 0o600))
	return w.path(name)
}

func (w *world) key(name string) {
	w.Helper()
	_, err := client.NewKey(w.path(name), "", []byte(passphrase))
	w.must(err)
}

func (w *world) login(name, print string) *person {
	w.Helper()
	home := &client.Home{Dir: w.path("home-" + name)}
	c, err := client.Login(ctx, home, w.srv.Addr(), w.path(name), typedPassphrase,
		func(got string) error {
			if got != print {
				w.Errorf("fingerprint %s, want %s", got, print)
			}
			return nil
		}, "")
	w.must(err)
	return w.person(name, home, c)
}

// submitted takes the world on to a waiting submission: file is one of the demo's.
func (w *world) submitted(file string) *world {
	w.Helper()
	_, err := w.technician.client.OpenJob(ctx, client.NewJob{Definition: "dx1-1.8t", Details: client.Details{Plate: "HC 18", Limits: "dx1-road-98", Fuel: "98 RON",
		Parts:   []string{"larger compressor wheel", "larger intercooler"},
		Numbers: []string{"crank_pulley_mm=180", "blower_pulley_mm=75", "engine_speed_max=6500", "rotor_speed_limit=16000"}}})
	w.must(err)
	_, _, err = w.technician.client.AddRead(ctx, client.NewRead{Job: 1, Path: w.demo("asfound.bin")})
	w.must(err)
	_, _, err = w.calibrator.client.Submit(ctx, client.NewSubmission{Job: 1, Path: w.demo(file), Note: "for the larger wheel"})
	w.must(err)
	w.must(w.lead.client.Sync(ctx))
	return w
}

var codeField = regexp.MustCompile(`name="code" value="([^"]+)"`)

// code is what stands in the private file now.
func (w *world) code(d *Desk) string {
	w.Helper()
	b, err := os.ReadFile(d.DoorFile())
	w.must(err)
	m := codeField.FindStringSubmatch(string(b))
	if m == nil {
		w.Fatalf("no code in %s", b)
	}
	return m[1]
}

// browser sends what a browser would, with headers that a test may change.
type browser struct {
	*world
	desk *Desk
	http *http.Client

	location string // of the last answer, where it led on
	header   http.Header
}

func (w *world) browser(d *Desk) *browser {
	jar, err := cookiejar.New(nil)
	w.must(err)
	return &browser{world: w, desk: d, http: &http.Client{Jar: jar, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
}

// inside is a browser that came in by the file.
func (w *world) inside(d *Desk) *browser {
	w.Helper()
	b := w.browser(d)
	if status, body := b.enter(w.code(d)); status != http.StatusOK {
		w.Fatalf("entering: %d %s", status, body)
	}
	return b
}

// enter posts a code as a browser does from a file.
func (b *browser) enter(code string) (int, string) {
	b.Helper()
	return b.send("POST", "/enter", url.Values{"code": {code}}, map[string]string{"Origin": "null", "Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"})
}

func (b *browser) get(path string) (int, string) {
	b.Helper()
	return b.send("GET", path, nil, typed)
}

func (b *browser) post(path string, form url.Values) (int, string) {
	b.Helper()
	return b.send("POST", path, form, with(ours, "Origin", "http://"+b.desk.door.host))
}

// sends posts a form with files, by field each a name and what it holds, and with the passphrase.
func (b *browser) sends(path string, form url.Values, files map[string][2]string) (int, string) {
	b.Helper()
	var body bytes.Buffer
	m := multipart.NewWriter(&body)
	b.must(m.WriteField("passphrase", passphrase))
	for name, values := range form {
		b.must(m.WriteField(name, values[0]))
	}
	for field, file := range files {
		if file[1] == "" {
			continue
		}
		w, err := m.CreateFormFile(field, file[0])
		b.must(err)
		_, err = io.WriteString(w, file[1])
		b.must(err)
	}
	b.must(m.Close())
	status, text := b.ask("POST", path, &body, with(ours, "Content-Type", m.FormDataContentType(), "Origin", "http://"+b.desk.door.host))
	return status, html.UnescapeString(text)
}

// typed are the headers of an address that a person typed.
var typed = map[string]string{"Sec-Fetch-Site": "none", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}

// ours are the headers of a form of the desk's own.
var ours = map[string]string{"Sec-Fetch-Site": "same-origin", "Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}

func (b *browser) send(method, path string, form url.Values, header map[string]string) (int, string) {
	b.Helper()
	if form == nil {
		return b.ask(method, path, nil, header)
	}
	return b.ask(method, path, strings.NewReader(form.Encode()), with(header, "Content-Type", "application/x-www-form-urlencoded"))
}

func (b *browser) ask(method, path string, body io.Reader, header map[string]string) (int, string) {
	b.Helper()
	a, err := b.http.Do(b.request(method, path, body, header))
	b.must(err)
	defer a.Body.Close()
	b.location, b.header = a.Header.Get("Location"), a.Header
	text, err := io.ReadAll(a.Body)
	b.must(err)
	return a.StatusCode, string(text)
}

func (b *browser) request(method, path string, body io.Reader, header map[string]string) *http.Request {
	b.Helper()
	r, err := http.NewRequest(method, "http://"+b.desk.door.host+path, body)
	b.must(err)
	for k, v := range header {
		if k == "Host" {
			r.Host = v
			continue
		}
		r.Header.Set(k, v)
	}
	return r
}
