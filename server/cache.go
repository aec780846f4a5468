package server

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/compare"
	"witnessmark/tables/definition"
	"witnessmark/tables/limits"
)

// cache keeps what is a pure function of named bytes: compiled definitions, limits, and the
// last reports. Whatever is dropped is computed again.
type cache struct {
	mu      sync.Mutex
	layouts map[string]*definition.Layout
	limits  map[string]*limits.Limits
	reports map[string]*calibrationv1.Report
	order   []string      // keys of reports, oldest first
	running chan struct{} // bounds comparisons under way
}

const (
	keptReports   = 32
	keptDocuments = 64
	atOnce        = 4
)

func newCache() *cache {
	return &cache{
		layouts: map[string]*definition.Layout{},
		limits:  map[string]*limits.Limits{},
		reports: map[string]*calibrationv1.Report{},
		running: make(chan struct{}, atOnce),
	}
}

// layout compiles the definition of that hash; at is what the action calls it.
func (c *core) layout(at, sha string) (*definition.Layout, error) {
	c.cache.mu.Lock()
	lay, ok := c.cache.layouts[sha]
	c.cache.mu.Unlock()
	if ok {
		return lay, nil
	}
	file, err := c.document(at, sha)
	if err != nil {
		return nil, err
	}
	lay, err = definition.Load(at, file)
	if err != nil {
		return nil, refused("bad-definition", at, "", "%s", oneLine(err)).because(err)
	}
	c.cache.mu.Lock()
	defer c.cache.mu.Unlock()
	if len(c.cache.layouts) >= keptDocuments {
		clear(c.cache.layouts)
	}
	c.cache.layouts[sha] = lay
	return lay, nil
}

// limitsOf parses the limits of that hash; an empty hash is no limits.
func (c *core) limitsOf(at, sha string) (*limits.Limits, error) {
	if sha == "" {
		return nil, nil
	}
	c.cache.mu.Lock()
	lim, ok := c.cache.limits[sha]
	c.cache.mu.Unlock()
	if ok {
		return lim, nil
	}
	file, err := c.document(at, sha)
	if err != nil {
		return nil, err
	}
	lim, err = limits.Load(at, file)
	if err != nil {
		return nil, refused("bad-limits", at, "", "%s", oneLine(err)).because(err)
	}
	c.cache.mu.Lock()
	defer c.cache.mu.Unlock()
	if len(c.cache.limits) >= keptDocuments {
		clear(c.cache.limits)
	}
	c.cache.limits[sha] = lim
	return lim, nil
}

func (c *core) document(at, sha string) ([]byte, error) {
	file, err := c.need(at, sha)
	if err != nil {
		return nil, err
	}
	if len(file) > maxDocument {
		return nil, refused("too-large", at, fmt.Sprintf("at most %d bytes", maxDocument),
			"%s has %d bytes; allowed are at most %d", at, len(file), maxDocument)
	}
	return file, nil
}

// oneLine is an error's text on one line, bounded: it goes into an answer, which must be UTF-8, and
// to a terminal, which nothing in a file may steer.
func oneLine(err error) string {
	s := strings.Join(strings.FieldsFunc(err.Error(), func(r rune) bool { return r == '\n' || r == '\r' }), "; ")
	s = strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return utf8.RuneError
	}, s)
	if len(s) > 2000 {
		s = strings.ToValidUTF8(s[:2000], "") + "…"
	}
	return s
}

// picture is one image as facts meet it: its hash, bytes and what it holds.
type picture struct {
	sha  string
	data []byte
	gaps []definition.Range // offsets
}

func (p picture) side() compare.Side { return compare.Side{Bytes: p.data, Gaps: p.gaps} }

// question is everything that a report depends on, by name.
type question struct {
	base, candidate *picture // base nil for a check
	layout          *definition.Layout
	limits          *limits.Limits
	meantGiven      bool
	meant           []string
	job             *calibrationv1.JobFacts
}

// key names the question: equal keys have equal reports.
func (q *question) key() string {
	h := sha256.New()
	part := func(p *picture) {
		if p == nil {
			fmt.Fprint(h, "none\n")
			return
		}
		fmt.Fprintf(h, "%s %v\n", p.sha, p.gaps)
	}
	part(q.base)
	part(q.candidate)
	fmt.Fprintf(h, "%s\n", q.layout.SHA256)
	if q.limits != nil {
		fmt.Fprintf(h, "limits %s\n", q.limits.SHA256)
	}
	fmt.Fprintf(h, "%t %q\n", q.meantGiven, q.meant)
	if q.job != nil {
		fmt.Fprintf(h, "job %q %v\n", q.job.GetFuel(), q.job.GetNumbers()) // a map prints in the order of its keys
	}
	return hex.EncodeToString(h.Sum(nil))
}

// answer computes the report, or finds it computed already. The report must not be changed.
func (c *core) answer(q *question) (*calibrationv1.Report, error) {
	key := q.key()
	c.cache.mu.Lock()
	r, ok := c.cache.reports[key]
	c.cache.mu.Unlock()
	if ok {
		return r, nil
	}
	c.cache.running <- struct{}{}
	defer func() { <-c.cache.running }()
	var err error
	if q.base == nil {
		r, err = compare.Check(q.candidate.side(), q.layout, q.limits, q.job)
	} else {
		r, err = compare.Compare(compare.Input{
			Base: q.base.side(), Candidate: q.candidate.side(), Layout: q.layout, Limits: q.limits,
			Meant: q.meant, MeantGiven: q.meantGiven, Job: q.job,
		})
	}
	if err != nil {
		return nil, refused("cannot-compare", "", "", "the comparison cannot be made: %s", oneLine(err)).because(err)
	}
	c.cache.mu.Lock()
	defer c.cache.mu.Unlock()
	if _, ok := c.cache.reports[key]; !ok {
		c.cache.reports[key] = r
		c.cache.order = append(c.cache.order, key)
		if len(c.cache.order) > keptReports {
			delete(c.cache.reports, c.cache.order[0])
			c.cache.order = c.cache.order[1:]
		}
	}
	return r, nil
}

// sameReport says whether the report blob of that hash is what the question's answer is.
// Messages are compared, never bytes. Another semantics number is "upgrade".
func (c *core) sameReport(at, sha string, q *question) (*calibrationv1.Report, error) {
	claimed, err := c.report(at, sha)
	if err != nil {
		return nil, err
	}
	if claimed.GetSemantics() != compare.Semantics {
		return nil, refused("upgrade", at, fmt.Sprintf("semantics %d", compare.Semantics),
			"the report has semantics %d and this server computes %d: the older of the two must be upgraded", claimed.GetSemantics(), compare.Semantics)
	}
	mine, err := c.answer(q)
	if err != nil {
		return nil, err
	}
	if !proto.Equal(mine, claimed) {
		return nil, refused("report-differs", at, "the report that a comparison of these images makes",
			"%s: the report is not what comparing these images gives (the server's verdict is %s, the report says %s)",
			at, mine.GetVerdict(), printable(claimed.GetVerdict()))
	}
	return mine, nil
}

// report reads a report blob.
func (c *core) report(at, sha string) (*calibrationv1.Report, error) {
	raw, err := c.need(at, sha)
	if err != nil {
		return nil, err
	}
	r := &calibrationv1.Report{}
	if err := proto.Unmarshal(raw, r); err != nil {
		return nil, refused("bad-report", at, "", "%s: the bytes are not a report", at).because(err)
	}
	return r, nil
}

// printable keeps what a stranger sent from filling a line or a terminal.
func printable(s string) string { return fmt.Sprintf("%.40q", s) }

// gapsOf turns the ranges that an image holds into the offsets that it lacks.
func gapsOf(at string, im *recordv1.Image, lay *definition.Layout) ([]definition.Range, error) {
	end := lay.Start + lay.Size
	next := lay.Start
	var gaps []definition.Range
	for i, r := range im.GetRanges() {
		s, e := uint64(r.GetStart()), uint64(r.GetEnd())
		if s >= e || s < next || e > end {
			return nil, refused("ranges", fmt.Sprintf("%s.ranges[%d]", at, i),
				fmt.Sprintf("ranges inside 0x%x–0x%x, rising, apart", lay.Start, end),
				"%s: range %d (0x%x–0x%x) is empty, out of order or leaves the image", at, i, s, e)
		}
		if s > next {
			gaps = append(gaps, definition.Range{Start: next - lay.Start, End: s - lay.Start})
		}
		next = e
	}
	if next < end {
		gaps = append(gaps, definition.Range{Start: next - lay.Start, End: end - lay.Start})
	}
	return gaps, nil
}
