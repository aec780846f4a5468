package desk

import (
	"io/fs"
	"net/http"
	"strconv"
	"strings"

	"witnessmark/client"
	"witnessmark/client/desk/view"
)

func (d *Desk) handler() http.Handler {
	mux := http.NewServeMux()
	assets, err := fs.Sub(embedded, "assets")
	if err != nil {
		panic(err) // the folder is embedded
	}
	mux.Handle("GET /assets/", http.StripPrefix("/assets/", http.FileServerFS(assets)))
	mux.HandleFunc("GET /assets/view.css", text("text/css", view.CSS))
	mux.HandleFunc("GET /assets/view.js", text("text/javascript", view.JS))
	mux.HandleFunc("GET /events", d.stream)
	for pattern, fn := range map[string]func(http.ResponseWriter, *http.Request) error{
		"GET /{$}":                             d.tray,
		"GET /ledger":                          d.ledger,
		"POST /ledger":                         d.verifyLedger,
		"GET /job/new":                         d.newJob,
		"POST /job/new":                        d.openJob,
		"GET /job/{job}":                       d.card,
		"GET /job/{job}/read":                  d.readForm,
		"POST /job/{job}/read":                 d.addRead,
		"GET /job/{job}/submit":                d.submitForm,
		"POST /job/{job}/submit":               d.submit,
		"GET /job/{job}/collect":               d.collectForm,
		"POST /job/{job}/collect":              d.collect,
		"GET /job/{job}/original":              d.originalForm,
		"POST /job/{job}/original":             d.original,
		"GET /job/{job}/readback":              d.readbackForm,
		"POST /job/{job}/readback":             d.readback,
		"GET /job/{job}/between":               d.between,
		"GET /job/{job}/runs":                  d.runs,
		"POST /job/{job}/runs":                 d.addRun,
		"GET /job/{job}/outcome":               d.outcome,
		"GET /taken/{id}":                      d.takenPage,
		"GET /taken/{id}/{which}":              d.takenFile,
		"GET /sheet/{sub}":                     d.sheet,
		"GET /sheet/{sub}/card/{table}":        d.cardOf,
		"GET /sheet/{sub}/table/{table}":       d.table,
		"GET /between/{a}/{sub}/table/{table}": d.tableBetween,
		"POST /sheet/{sub}/draft":              d.draft,
		"POST /sheet/{sub}/sign":               d.sign,
		"POST /sheet/{sub}/return":             d.sendBack,
		"POST /sheet/{sub}/withdraw":           d.withdraw,
		"GET /":                                func(http.ResponseWriter, *http.Request) error { return errAway },
	} {
		mux.HandleFunc(pattern, d.handle(fn))
	}
	return d.guard(mux)
}

func text(kind, body string) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", kind+"; charset=utf-8")
		_, _ = w.Write([]byte(body))
	}
}

// jobOf reads the job's number from the address.
func jobOf(r *http.Request) (uint32, string, error) {
	n, err := client.ParseJob(r.PathValue("job"))
	return n, "/job/" + strconv.FormatUint(uint64(n), 10), err
}

// subOf reads the submission from the address.
func subOf(r *http.Request) (job, n uint32, err error) {
	return client.ParseSubmission(r.PathValue("sub"))
}

// lines splits what was typed into a box, one item a line.
func lines(s string) (out []string) {
	for _, l := range strings.Split(s, "\n") {
		if l = strings.TrimSpace(l); l != "" {
			out = append(out, l)
		}
	}
	return out
}
