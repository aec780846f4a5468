// Package a2l reads descriptions in the open standard ASAM MCD-2 MC 1.7. It opens no files: whoever calls it
// gives what a description includes.
package a2l

import (
	"fmt"
	"path"
	"slices"
	"strings"

	"witnessmark/tables/yamldoc"
)

// reader turns tokens into objects. A fault of an object's own ends that object alone.
type reader struct {
	scanner
	ahead *token
	m     *Module
	fault *yamldoc.Error // of the object that is read
	names map[string]Place

	types     map[string]any // of instances: *Characteristic, *AxisPts, *structure, or nil of what is no table
	instances []*instance
	expanded  int // their parts so far
}

// Read gives the modules of a description; name is what errors call it, include gives a file by its path from the
// description's folder. Every error is a *yamldoc.Error and names file and line.
func Read(name string, file []byte, include func(path string) ([]byte, error)) ([]*Module, error) {
	r := &reader{scanner: scanner{include: include, left: MaxBytes}}
	r.push(Place{File: name}, name, path.Base(strings.ReplaceAll(name, `\`, "/")), file)
	var all []*Module
	for r.err == nil {
		t := r.take()
		switch {
		case t.kind == over:
			if r.err == nil && len(all) == 0 {
				r.wrong(t.Place, "a description with /begin PROJECT and a /begin MODULE in it", "there is no module")
			}
			return all, r.err
		case t.kind == begin && t.text == "PROJECT": // whose modules come next
		case t.kind == begin && t.text == "MODULE":
			m := &Module{Place: t.Place, Methods: map[string]*Method{}, Tables: map[string]*Table{}, Layouts: map[string]*Layout{}, Variants: map[string][]string{}}
			r.module(m)
			all = append(all, m)
		case t.kind == begin:
			r.pass(len(r.blocks) - 1)
		}
		r.fault = nil
	}
	return nil, r.err
}

func (r *reader) take() token {
	if r.ahead != nil {
		t := *r.ahead
		r.ahead = nil
		return t
	}
	return r.next()
}

// peek is what comes next. A block that ends is closed by whoever takes it, not by whoever looks.
func (r *reader) peek() token {
	if r.ahead == nil {
		t := r.next()
		r.ahead = &t
	}
	return *r.ahead
}

// body calls on for each keyword and each block up to the end of the block that is read; what on does not read of it
// is passed over.
func (r *reader) body(on func(t token)) {
	for r.err == nil && r.fault == nil {
		t := r.take()
		switch t.kind {
		case over, end:
			return
		case begin:
			depth := len(r.blocks) - 1
			on(t)
			if r.fault == nil {
				r.close(depth)
			}
		case word:
			if n, known := passed[t.text]; known {
				r.skip(n)
			} else {
				on(t)
			}
		}
	}
}

// close reads to the end of the block, if it has not ended, of which depth blocks are around.
func (r *reader) close(depth int) {
	r.ahead = nil // it may have been the end
	r.pass(depth)
}

// passed are keywords that say nothing here, and how many words follow each.
var passed = map[string]int{
	"CALIBRATION_ACCESS": 1, "COMPARISON_QUANTITY": 1, "DISPLAY_IDENTIFIER": 1, "FORMAT": 1, "MAX_GRAD": 1, "MAX_REFRESH": 2, "MODEL_LINK": 1,
	"MONOTONY": 1, "REF_MEMORY_SEGMENT": 1, "STEP_SIZE": 1, "SYMBOL_LINK": 2, "EXTENDED_LIMITS": 2, "REF_UNIT": 1, "CPU_TYPE": 1, "CUSTOMER": 1,
	"CUSTOMER_NO": 1, "ECU": 1, "NO_OF_INTERFACES": 1, "PHONE_NO": 1, "SUPPLIER": 1, "SYSTEM_CONSTANT": 2, "USER": 1, "VERSION": 1, "DATA_SIZE": 1,
	"S_REC_LAYOUT": 1, "FUNCTION_VERSION": 1,
}

func (r *reader) skip(n int) {
	for range n {
		if t := r.peek(); t.kind > quoted {
			return
		}
		r.take()
	}
}

// bad is a fault of the object that is read.
func (r *reader) bad(at Place, allowed, format string, args ...any) {
	if r.fault == nil && r.err == nil {
		r.fault = &yamldoc.Error{File: at.File, Line: at.Line, Problem: fmt.Sprintf(format, args...), Allowed: allowed}
	}
}

// param is the next word of the object, which must be there.
func (r *reader) param(what string, k kind) string {
	if r.fault != nil || r.err != nil {
		return ""
	}
	t := r.peek()
	if t.kind != k {
		allowed := "a word"
		if k == quoted {
			allowed = "a text in quotes"
		}
		r.bad(t.Place, allowed, "%s is missing", what)
		return ""
	}
	r.take()
	return t.text
}

func (r *reader) word(what string) string { return r.param(what, word) }
func (r *reader) text(what string) string { return r.param(what, quoted) }

// oneOf is a word among those given.
func (r *reader) oneOf(what string, allowed ...string) string {
	at := r.peek().Place
	w := r.word(what)
	if r.fault == nil && !slices.Contains(allowed, w) {
		r.bad(at, strings.Join(allowed, ", "), "%s: %.60q is not known", what, w)
	}
	return w
}

// list are the words up to the next text or block.
func (r *reader) list() (all []string) {
	for r.err == nil && r.peek().kind == word {
		all = append(all, r.take().text)
	}
	return all
}
