package desk

import (
	"html/template"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
)

// TestAPageThatCannotBeFinishedSaysSo: what was sent before a pause stays as it is, with its status; what broke off after it is not
// shown, but that it did is. Before any pause there is no page.
func TestAPageThatCannotBeFinishedSaysSo(t *testing.T) {
	for _, c := range []struct {
		body   string
		status int
		starts string
		ends   string
	}{
		{`<p>first</p>{{.Pause}}<p title="half{{call .Body}}">second</p>`, http.StatusConflict, "<!doctype html>",
			`<p>first</p><div class="notice bad" role="alert"><p><strong>This page ends here.</strong> What follows could not be made; the terminal that the desk was started from says why.</p></div>`},
		{`<p>first</p><p title="half{{call .Body}}">second</p>{{.Pause}}`, http.StatusInternalServerError,
			"this page could not be made;", "the terminal that the desk was started from says why"},
	} {
		p, err := loadPages()
		if err != nil {
			t.Fatal(err)
		}
		template.Must(p.byName["problem"].Parse(`{{define "body"}}` + c.body + `{{end}}`))
		d := &Desk{pages: p, log: slog.New(slog.DiscardHandler)}
		srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			d.show(w, page{Title: "Torn"}, http.StatusConflict, "problem", func() string { panic("a drawing that fails") })
		}))
		a, err := srv.Client().Get(srv.URL)
		if err != nil {
			t.Fatal(err)
		}
		got, err := io.ReadAll(a.Body)
		a.Body.Close()
		srv.Close()
		body := strings.TrimSpace(string(got))
		if err != nil || a.StatusCode != c.status || !strings.HasPrefix(body, c.starts) || !strings.HasSuffix(body, c.ends) || strings.Contains(body, "half") {
			t.Errorf("%s: status %d, %v, %s", c.body, a.StatusCode, err, body)
		}
	}
}
