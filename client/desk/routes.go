package desk

import (
	"crypto/sha256"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"strconv"

	"witnessmark/client"
	"witnessmark/client/desk/view"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// handler is the desk as browsers meet it: behind the guard are the pages that there are now.
func (d *Desk) handler() http.Handler {
	return d.guard(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { d.inside.Load().ServeHTTP(w, r) }))
}

// assets are in the mux of every desk.
func (d *Desk) assets(mux *http.ServeMux) {
	mux.Handle("GET "+assetsAt, http.StripPrefix(assetsAt, kept(http.FileServerFS(must(fs.Sub(embedded, "assets"))))))
	mux.Handle("GET "+assetsAt+"view.css", kept(asset("text/css", view.CSS)))
	mux.Handle("GET "+assetsAt+"view.js", kept(asset("text/javascript", view.JS)))
}

// rooms are the pages of a desk that is somebody's.
func (d *Desk) rooms() *http.ServeMux {
	mux := http.NewServeMux()
	d.assets(mux)
	mux.HandleFunc("GET /events", d.stream)
	for pattern, fn := range map[string]func(http.ResponseWriter, *http.Request) error{
		"GET /{$}":                               d.tray,
		"GET /jobs":                              d.jobs,
		"GET /search":                            d.search,
		"GET /report/{name}":                     d.report,
		"GET /report/{name}/table/{table}":       d.reportTable,
		"GET /report/{name}/section/{table}":     d.reportSection,
		"GET /get/{name}":                        d.workingCopy,
		"GET /ledger":                            d.ledger,
		"POST /ledger":                           d.verifyLedger,
		"GET /people":                            d.people,
		"GET /people/enrol":                      d.enrol,
		"POST /people/enrol":                     d.enrol,
		"GET /people/retire":                     d.retire,
		"POST /people/retire":                    d.retire,
		"GET /job/new":                           d.deed,
		"POST /job/new":                          d.deed,
		"GET /job/{job}":                         d.card,
		"GET /job/{job}/between":                 d.between,
		"GET /job/{job}/runs":                    d.runs,
		"GET /job/{job}/road":                    d.road,
		"GET /job/{job}/corridor":                d.corridor,
		"POST /job/{job}/corridor":               d.draftCorridor,
		"POST /job/{job}/corridor/sign":          d.signCorridor,
		"GET /job/{job}/outcome":                 d.outcome,
		"GET /job/{job}/file/{sha}":              d.notedFile,
		"GET /job/{job}/{deed}":                  d.deed,
		"POST /job/{job}/{deed}":                 d.deed,
		"GET /taken/{id}":                        d.takenPage,
		"GET /taken/{id}/{which}":                d.takenFile,
		"GET /sheet/{sub}":                       d.sheet,
		"GET /sheet/{sub}/card/{table}":          d.cardOf,
		"GET /sheet/{sub}/table/{table}":         d.table,
		"GET /sheet/{sub}/section/{table}":       d.section,
		"GET /between/{a}/{sub}/table/{table}":   d.tableBetween,
		"GET /between/{a}/{sub}/section/{table}": d.sectionBetween,
		"POST /sheet/{sub}/draft":                d.draft,
		"POST /sheet/{sub}/sign":                 d.sign,
		"POST /sheet/{sub}/return":               d.sendBack,
		"POST /sheet/{sub}/withdraw":             d.withdraw,
		"GET /catalog/{kind}":                    d.catalog,
		"GET /catalog/{kind}/{name}":             d.document,
		"GET /catalog/{kind}/{name}/file":        d.documentFile,
		"GET /add/{kind}":                        d.add,
		"POST /add/{kind}":                       d.add,
		"GET /propose":                           d.propose,
		"GET /":                                  func(http.ResponseWriter, *http.Request) error { return errAway },
	} {
		mux.HandleFunc(pattern, d.handle(fn))
	}
	for _, at := range []string{"/start", "/join", "/unlock", "/leave"} { // another page of the welcome may still be open
		mux.HandleFunc("GET "+at, d.handle(home))
		mux.HandleFunc("POST "+at, d.handle(home))
	}
	return mux
}

// assetsAt is where styles and scripts are; another program has others.
var assetsAt = func() string {
	h := sha256.New()
	_, _ = io.WriteString(h, view.CSS+view.JS)
	for _, f := range must(embedded.ReadDir("assets")) {
		_, _ = h.Write(must(embedded.ReadFile("assets/" + f.Name())))
	}
	return fmt.Sprintf("/assets/%.8x/", h.Sum(nil))
}()

// must is for what is embedded.
func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

// kept lets a browser keep what never changes, so that a page does not wait for it.
func kept(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Cache-Control", "private, max-age=86400, immutable")
		next.ServeHTTP(w, r)
	})
}

func asset(kind, body string) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", kind+"; charset=utf-8")
		_, _ = w.Write([]byte(body))
	}
}

// jobAt is the job that the address names.
func (d *Desk) jobAt(r *http.Request) (*recordv1.Job, error) {
	n, err := client.ParseJob(r.PathValue("job"))
	if err != nil {
		return nil, err
	}
	return d.client.Job(n)
}

// numberIn is a bound that the address names; what is no number is none.
func numberIn(r *http.Request, name string) int {
	n, _ := strconv.Atoi(r.URL.Query().Get(name))
	return max(0, n)
}

// turned is the address of what is shown, but from so many on.
func turned(r *http.Request, name string, from int) string {
	q := r.URL.Query()
	q.Del("note")
	q.Set(name, strconv.Itoa(from))
	return "?" + q.Encode()
}

// subOf reads the submission from the address.
func subOf(r *http.Request) (job, n uint32, err error) {
	return client.ParseSubmission(r.PathValue("sub"))
}
