package server

import (
	"fmt"
	"slices"
	"time"

	"github.com/anishathalye/porcupine"

	"witnessmark/store/record"
)

// controls spoil a history: a judge who takes them judges nothing.
func (h *house) controls() {
	h.Helper()
	spoil := func(what string, fn func(list []porcupine.Operation) []porcupine.Operation) {
		if list := fn(slices.Clone(h.history)); list != nil && h.judged(list) != porcupine.Illegal {
			h.Errorf("%s is taken for right", what)
		}
	}
	spoil("an answer that is not in the ledger", func(list []porcupine.Operation) []porcupine.Operation {
		at := slices.IndexFunc(list, func(op porcupine.Operation) bool { return op.Output.(answered).reason == "" })
		return slices.Delete(list, at, at+1)
	})
	spoil("an entry twice", func(list []porcupine.Operation) []porcupine.Operation {
		at := slices.IndexFunc(list, func(op porcupine.Operation) bool { return op.Output.(answered).reason == "" })
		return append(list, list[at])
	})
	spoil("a refusal as an entry", func(list []porcupine.Operation) []porcupine.Operation {
		at := slices.IndexFunc(list, func(op porcupine.Operation) bool { return op.Output.(answered).reason != "" })
		if at < 0 {
			return nil
		}
		list[at].Output = answered{index: h.begin.last + 1}
		return list
	})
	spoil("an entry before it was asked for", func(list []porcupine.Operation) []porcupine.Operation {
		slices.SortFunc(list, func(a, b porcupine.Operation) int { return int(a.Return - b.Return) })
		for i, a := range list {
			for k, b := range list[i+1:] {
				if a.Output.(answered).reason == "" && b.Output.(answered).reason == "" && a.Return < b.Call {
					list[i].Output, list[i+1+k].Output = b.Output, a.Output
					return list
				}
			}
		}
		return nil
	})
	for _, c := range afterwards {
		right, wrong := h.afterwards(c)
		if got := h.judged(right); got != porcupine.Ok {
			h.Errorf("what would be right instead of %s is %s", c.what, got)
		}
		spoil(c.what, func([]porcupine.Operation) []porcupine.Operation { return wrong })
	}
}

type afterward struct {
	what  string
	steps []step
	right answered
}

// afterwards are things that go on in a corridor for "an author", one map and 3 up; the last is answered as the paper has
// it, and then as if the corridor had released it.
var afterwards = []afterward{
	{"a release after the close", []step{{kind: "corridor_close"}, {kind: "submit", who: "an author", up: 1}}, answered{reason: record.ReasonCorridor}},
	{"one more than its maps", []step{{kind: "submit", who: "an author", up: -1}, {kind: "submit", who: "an author", up: -2}}, answered{reason: record.ReasonCorridor}},
	{"a release by an author who is not named", []step{{kind: "submit", who: "another", up: 1}}, answered{why: "author"}},
	{"a warning released", []step{{kind: "limits", strict: true}, {kind: "corridor_close"}, {kind: "corridor"}, {kind: "submit", who: "an author", up: 3}}, answered{why: "verdict"}},
	{"what lies outside released", []step{{kind: "limits"}, {kind: "corridor_close"}, {kind: "corridor"}, {kind: "submit", who: "an author", up: 4}}, answered{why: "cells"}},
	{"what was returned released", []step{{kind: "submit", who: "another", up: -1}, {kind: "return"}, {kind: "submit", who: "an author", up: -1}}, answered{why: "returned"}},
}

// afterwards goes on with a history, in the first of its jobs that has a read.
func (h *house) afterwards(c afterward) (right, wrong []porcupine.Operation) {
	f, at := h.end, int64(time.Since(h.start))
	job := slices.IndexFunc(f.jobs, func(j jobOnPaper) bool { return j.read > 0 }) + 1
	if job == 0 {
		return nil, nil
	}
	steps := []step{{kind: "reopen"}, {kind: "corridor_close"}, {kind: "corridor"}}
	right = slices.Clone(h.history)
	for i, s := range append(steps, c.steps...) {
		j := f.jobs[job-1]
		n, open := len(j.corridors), len(j.corridors) > 0 && j.corridors[len(j.corridors)-1].open
		if s.kind == "reopen" && j.open || s.kind == "corridor_close" && i < len(steps) && !open {
			continue
		}
		s.job, s.fuel, s.limits = job, j.fuel, f.limits
		switch s.kind {
		case "corridor":
			s.who, s.authors, s.up, s.maps, s.most = "somebody", []string{"an author"}, 3, 1, "caution"
		case "corridor_close":
			s.corridor = n
		case "limits":
			s.limits, s.on, s.worse = fmt.Sprint("after ", f.last), f.limitsAt, f.judgedWorse(s.strict)
		case "submit":
			s.claim = n
		case "return":
			s.sub = len(j.subs)
		}
		if s.kind != "limits" {
			_, s.on = f.inJob(j, s)
		}
		op := porcupine.Operation{Input: s, Call: at, Return: at + 1}
		at += 2
		a := answered{index: f.last + 1}
		if i == len(steps)+len(c.steps)-1 {
			a.by, op.Output = n, answered{index: f.last + 1, by: n}
			wrong = append(slices.Clone(right), op)
			if a = c.right; a.reason == "" {
				a.index = f.last + 1
			}
		} else if f = f.done(s, a.index); s.kind == "submit" {
			sub := f.jobs[job-1].subs[len(j.subs)]
			a.by, a.why = sub.by, sub.why
		}
		op.Output = a
		right = append(right, op)
	}
	return right, wrong
}
