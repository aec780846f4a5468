package view

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/sergi/go-diff/diffmatchpatch"
)

// mostMarked is how long texts are whose differences are marked: the work grows with the square of what differs.
const mostMarked = 4096

// writeTexts is a text as it was and as it is, what differs marked in either.
func writeTexts(b *strings.Builder, p *pair) {
	was, is := p.base.Text, p.cand.Text
	if was == is {
		fmt.Fprintf(b, `<p>Both sides say the same:</p><p class="text">%s</p>`, esc(was))
		return
	}
	diffs := []diffmatchpatch.Diff{{Type: diffmatchpatch.DiffDelete, Text: was}, {Type: diffmatchpatch.DiffInsert, Text: is}}
	if max(utf8.RuneCountInString(was), utf8.RuneCountInString(is)) <= mostMarked {
		dmp := diffmatchpatch.New()
		dmp.DiffTimeout = 0 // the page must not depend on the clock
		diffs = dmp.DiffCleanupSemantic(dmp.DiffMainRunes([]rune(was), []rune(is), false))
	}
	b.WriteString(`<dl class="texts">`)
	for _, side := range []struct {
		name, element string
		without       diffmatchpatch.Operation
	}{{"Base", "del", diffmatchpatch.DiffInsert}, {"Candidate", "ins", diffmatchpatch.DiffDelete}} {
		fmt.Fprintf(b, `<dt>%s</dt><dd class="text">`, side.name)
		for _, d := range diffs {
			switch d.Type {
			case side.without:
			case diffmatchpatch.DiffEqual:
				b.WriteString(esc(d.Text))
			default:
				fmt.Fprintf(b, `<%s>%s</%[1]s>`, side.element, esc(d.Text))
			}
		}
		b.WriteString(`</dd>`)
	}
	b.WriteString(`</dl>`)
}

// writeTextHistory lists what set the bytes of a text, each once.
func writeTextHistory(b *strings.Builder, p *pair, history func(cell int) string) {
	if history == nil {
		return
	}
	q := quad{of: "byte"}
	cells := make([]int, len(p.cand.TextBits))
	for i := range cells {
		cells[i] = i
	}
	q.tell(cells, history)
	q.writeHistory(b)
}
