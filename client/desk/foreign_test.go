package desk

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
)

// TestAForeignPageGetsNowhere: a page of another origin, in the browser that is in, posts a form,
// fetches, frames and asks for pictures. It runs on this host too, so that cookies do go along
// wherever the browser lets them.
func TestAForeignPageGetsNowhere(t *testing.T) {
	chromium(t)
	w := submittedWorld(t, "submission-2.bin")
	b := w.opens(w.lead)
	desk := strings.TrimSuffix(w.lead.desk.URL(), "/")
	foreign := httptest.NewServer(http.HandlerFunc(func(rw http.ResponseWriter, _ *http.Request) {
		rw.Header().Set("Content-Type", "text/html")
		fmt.Fprintf(rw, `<!doctype html><title>foreign</title><body><form method="post" action="%[1]s/ledger"><button id="post">post</button></form>
<iframe id="frame" src="%[1]s/"></iframe><script>
window.got = "";
fetch("%[1]s/", {credentials: "include"}).then(r => r.text()).then(t => got = "read " + t, e => got = "refused");
</script>`, desk)
	}))
	defer foreign.Close()
	b.do(chromedp.Navigate(foreign.URL))
	b.until("the end of its fetch", `got !== ""`)
	if got := eval[string](b, `got`); got != "refused" {
		t.Errorf("a foreign page %.200s", got)
	}
	if eval[bool](b, `(() => { try { return !!document.getElementById("frame").contentDocument.querySelector("h1") } catch (e) { return false } })()`) {
		t.Error("a foreign page framed the desk")
	}
	b.do(chromedp.Click("#post"))
	b.sees("This request came from another page.")
	// The browser that is in is still in.
	b.goes("/")
	b.sees("What waits for you")

	// Another name for this host: Chromium resolves localhost by itself.
	port := desk[strings.LastIndex(desk, ":"):]
	b.do(chromedp.Navigate("http://localhost" + port + "/"))
	b.sees("answers to no other name")
}
