package server

import (
	"net/http/httptest"
	"strconv"
	"strings"

	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// figures is what Prometheus is told.
func (w *workshop) figures() string {
	w.Helper()
	r := httptest.NewRecorder()
	promhttp.HandlerFor(w.srv.core.figures.registry, promhttp.HandlerOpts{}).ServeHTTP(r, httptest.NewRequest("GET", "/metrics", nil))
	return r.Body.String()
}

// figure is one of them, by its name with its labels; 0 where it is not told.
func (w *workshop) figure(name string) float64 {
	w.Helper()
	for line := range strings.Lines(w.figures()) {
		if value, ok := strings.CutPrefix(line, name+" "); ok {
			n, err := strconv.ParseFloat(strings.TrimSpace(value), 64)
			if err != nil {
				w.Fatal(err)
			}
			return n
		}
	}
	return 0
}
