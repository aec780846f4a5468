package desk

import (
	"crypto/ed25519"
	"encoding/base64"
	"html"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"runtime"
	"strings"
	"testing"
	"time"
)

type edKey = ed25519.PublicKey

var navigate = map[string]string{"Sec-Fetch-Mode": "navigate", "Sec-Fetch-Dest": "document"}

// with is header and more pairs.
func with(header map[string]string, pairs ...string) map[string]string {
	out := map[string]string{}
	for k, v := range header {
		out[k] = v
	}
	for i := 0; i < len(pairs); i += 2 {
		out[pairs[i]] = pairs[i+1]
	}
	return out
}

func TestNobodyElseGetsIn(t *testing.T) {
	w := submittedWorld(t, "submission-2.bin")
	d := w.lead.desk
	host := d.door.host
	port := host[strings.LastIndex(host, ":"):]
	in, out := w.inside(d), w.browser(d)
	for _, c := range []struct {
		what, method, path string
		b                  *browser
		header             map[string]string
		status             int
		says               string
	}{
		{"top-level, with the cookie", "GET", "/", in, with(navigate, "Sec-Fetch-Site", "none"), 200, "What waits for you"},
		{"without the cookie", "GET", "/", out, with(navigate, "Sec-Fetch-Site", "none"), 401, "does not know this browser"},
		{"events without the cookie", "GET", "/events", out, with(nil, "Sec-Fetch-Site", "same-origin"), 401, "does not know this browser"},
		{"a rebound name", "GET", "/", in, with(navigate, "Sec-Fetch-Site", "none", "Host", "attacker.example"+port), 421, "no other name"},
		{"localhost is another name", "GET", "/", in, with(navigate, "Sec-Fetch-Site", "none", "Host", "localhost"+port), 421, "no other name"},
		{"another port", "GET", "/", in, with(navigate, "Sec-Fetch-Site", "none", "Host", "127.0.0.1:1"), 421, "no other name"},
		{"a foreign post", "POST", "/ledger", in, with(navigate, "Sec-Fetch-Site", "cross-site", "Origin", "https://attacker.example"), 403, "another page"},
		{"a post from another port of this host", "POST", "/ledger", in, with(navigate, "Sec-Fetch-Site", "same-site", "Origin", "http://127.0.0.1:1"), 403, "another page"},
		{"a foreign post by an old browser", "POST", "/ledger", in, with(nil, "Origin", "https://attacker.example"), 403, "another page"},
		{"a post that says nothing", "POST", "/ledger", in, nil, 403, "did not come from"},
		{"a post that says none", "POST", "/ledger", in, with(navigate, "Sec-Fetch-Site", "none"), 403, "did not come from"},
		{"a foreign picture of a page", "GET", "/", in, with(nil, "Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "no-cors", "Sec-Fetch-Dest", "image"), 403, "did not come from"},
		{"a foreign frame", "GET", "/", in, with(nil, "Sec-Fetch-Site", "cross-site", "Sec-Fetch-Mode", "navigate", "Sec-Fetch-Dest", "iframe"), 403, "did not come from"},
		{"a get that says nothing", "GET", "/", in, nil, 403, "did not come from"},
		{"our own script", "GET", "/sheet/1.1", in, with(nil, "Sec-Fetch-Site", "same-origin", "Sec-Fetch-Mode", "cors", "Sec-Fetch-Dest", "empty"), 200, "Sheet of 1.1"},
		{"our own post", "POST", "/ledger", in, with(navigate, "Sec-Fetch-Site", "same-origin", "Origin", "http://"+host), 200, "Verified in"},
	} {
		t.Run(c.what, func(t *testing.T) {
			status, body := c.b.send(c.method, c.path, nil, c.header)
			if status != c.status || !strings.Contains(body, c.says) {
				t.Errorf("%d, %.600s; want %d with %q", status, body, c.status, c.says)
			}
			if c.status != 200 && strings.Contains(body, "HC18") {
				t.Error("a refusal shows the record")
			}
		})
	}
}

func TestACodeWorksOnceAndForItsTime(t *testing.T) {
	w := newWorld(t)
	d := w.lead.desk
	code := w.code(d)
	if status, _ := w.browser(d).enter(code); status != http.StatusOK {
		t.Fatalf("a fresh code: %d", status)
	}
	if status, body := w.browser(d).enter(code); status != http.StatusForbidden || !strings.Contains(body, "This code is spent") {
		t.Errorf("second use: %d %s", status, body)
	}
	fresh := w.code(d)
	if fresh == code {
		t.Fatal("the file still holds the spent code")
	}
	d.door.mu.Lock()
	d.door.now = func() time.Time { return time.Now().Add(time.Minute) }
	d.door.mu.Unlock()
	b := w.browser(d)
	if status, _ := b.enter(fresh); status != http.StatusForbidden {
		t.Errorf("a code a minute old: %d", status)
	}
	if status, _ := b.get("/"); status != http.StatusUnauthorized {
		t.Errorf("and it let somebody in: %d", status)
	}
	if status, _ := b.enter(""); status != http.StatusForbidden {
		t.Errorf("no code: %d", status)
	}
}

func TestTheDoorIsPrivate(t *testing.T) {
	w := newWorld(t)
	d := w.lead.desk
	info, err := os.Stat(d.DoorFile())
	w.must(err)
	if runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Errorf("the file's mode is %o", info.Mode().Perm())
	}
	if code := w.code(d); strings.Contains(d.URL()+d.DoorFile(), code) || len(code) < 26 {
		t.Error("the code stands in the address or the path, or is short")
	}
	b := w.inside(d)
	u, _ := url.Parse(d.URL())
	if len(b.http.Jar.Cookies(u)) != 1 {
		t.Fatal("no cookie")
	}
	_, code := w.browser(d), w.code(d)
	r, err := http.PostForm(d.URL()+"enter", url.Values{"code": {code}})
	w.must(err)
	defer r.Body.Close()
	c := r.Cookies()[0]
	if !c.HttpOnly || c.SameSite != http.SameSiteStrictMode || c.Domain != "" || c.Path != "/" || !strings.HasSuffix(c.Name, u.Port()) {
		t.Errorf("cookie %+v", c)
	}
	csp := r.Header.Get("Content-Security-Policy")
	for _, want := range []string{"default-src 'none'", "script-src 'self'", "style-src 'self'", "form-action 'self'", "frame-ancestors 'none'", "base-uri 'none'"} {
		if !strings.Contains(csp, want) {
			t.Errorf("policy %q lacks %q", csp, want)
		}
	}
	if strings.Contains(csp, "unsafe") {
		t.Errorf("policy %q", csp)
	}
}

func TestListensOnLoopbackOnly(t *testing.T) {
	for _, addr := range []string{"0.0.0.0:0", ":0", "192.0.2.1:0", "localhost:0", "[::]:0", "nonsense"} {
		if l, err := listen(addr); err == nil {
			l.Close()
			t.Errorf("%q was listened on", addr)
		} else if !strings.Contains(err.Error(), "allowed: 127.0.0.1:PORT") {
			t.Errorf("%q: %v", addr, err)
		}
	}
}

var draftField = regexp.MustCompile(`name="draft" value="([^"]+)"`)

var statementShown = regexp.MustCompile(`(?s)<pre class="statement"[^>]*>(.*?)</pre>`)

func TestASessionAloneNeverSigns(t *testing.T) {
	w := submittedWorld(t, "submission-2.bin")
	b := w.inside(w.lead.desk)
	before := w.lead.client.Head().Size
	reasons := url.Values{"because:advance-ceiling:ignition.98": {"watched for knock on the rolling road"}}
	status, page := b.post("/sheet/1.1/draft", reasons)
	m := draftField.FindStringSubmatch(page)
	if status != 200 || m == nil {
		t.Fatalf("draft: %d %s", status, page)
	}
	for _, want := range []string{"watched for knock on the rolling road", "in-toto.io/Statement/v1", "sign_off"} {
		if !strings.Contains(page, want) {
			t.Errorf("the statement that is shown lacks %q", want)
		}
	}
	shown := html.UnescapeString(statementShown.FindStringSubmatch(page)[1])
	for _, typed := range []string{"", "wrong"} {
		for path, form := range map[string]url.Values{
			"/sheet/1.1/sign":   {"draft": {m[1]}, "passphrase": {typed}},
			"/sheet/1.1/return": {"reason": {"no"}, "passphrase": {typed}},
			"/job/new":          {"plate": {"X 1"}, "definition": {"dx1-1.8t"}, "limits": {"dx1-road-98"}, "passphrase": {typed}},
			"/job/1/asfound":    {"passphrase": {typed}},
		} {
			if status, page := b.post(path, form); status < 400 || !strings.Contains(page, "Nothing was signed") {
				t.Errorf("%s with passphrase %q: %d %.1500s", path, typed, status, page)
			}
		}
	}
	w.must(w.lead.client.Sync(ctx))
	if now := w.lead.client.Head().Size; now != before {
		t.Fatalf("%d entries were signed without a confirmation", now-before)
	}
	if status, page := b.post("/sheet/1.1/sign", url.Values{"draft": {m[1]}, "passphrase": {passphrase}}); status != http.StatusSeeOther {
		t.Fatalf("with the passphrase: %d %s", status, page)
	}
	copied, err := os.ReadFile(w.path("home-lead/ledger.db"))
	w.must(err)
	if !strings.Contains(string(copied), base64.StdEncoding.EncodeToString([]byte(shown))) {
		t.Errorf("the ledger does not hold the statement that was shown, %s", shown)
	}
	if j, err := w.lead.client.Job(1); err != nil || len(releases(j)) != 1 {
		t.Errorf("releases %v, %v", releases(j), err)
	}
	if status, _ := b.post("/sheet/1.1/sign", url.Values{"draft": {m[1]}, "passphrase": {passphrase}}); status != http.StatusConflict {
		t.Errorf("the same draft again: %d", status)
	}
}
