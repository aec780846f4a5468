package client

import (
	"strings"
	"unicode"
)

// maxPasted is how long a line may be that people send each other, in bytes.
const maxPasted = 8 << 10

// pasted is a line as somebody pasted it, read part by part from the front. Mail and terminals break lines anywhere, so blanks count
// for nothing inside a part; between two parts there is one.
type pasted struct {
	what string
	text string // without blanks
	from []int  // where each of its bytes stood
	raw  string
	at   int
}

// paste begins to read a line of a kind, and refuses what is none.
func paste(what, raw string) (*pasted, error) {
	p := &pasted{what: what, raw: raw}
	if len(raw) > maxPasted {
		return nil, p.wrong("it has %d bytes; allowed are %d", len(raw), maxPasted)
	}
	var text strings.Builder
	for i, r := range raw {
		if !unicode.IsSpace(r) {
			for n := range len(string(r)) {
				p.from = append(p.from, i+n)
			}
			text.WriteRune(r)
		}
	}
	p.text = text.String()
	for _, word := range []string{"witnessmark", what} {
		if part, ok := p.take(len(word)); !ok || part != word {
			return nil, p.wrong("it does not begin with the words: witnessmark %s", what)
		}
	}
	return p, nil
}

// left is what was not read yet, without blanks.
func (p *pasted) left() string { return p.text[p.at:] }

// take is the next n bytes; ok says whether there are as many, with a blank or the end behind them.
func (p *pasted) take(n int) (part string, ok bool) {
	left := p.left()
	if n > len(left) {
		return left, false
	}
	part, p.at = left[:n], p.at+n
	return part, p.at == len(p.text) || p.from[p.at] > p.from[p.at-1]+1
}

// rest is what was not read yet, with one blank for any number of them.
func (p *pasted) rest() string {
	if p.left() == "" {
		return ""
	}
	return strings.Join(strings.Fields(p.raw[p.from[p.at]:]), " ")
}

// word is what comes up to the next blank, for saying what is wrong with it.
func (p *pasted) word() string {
	word, _, _ := strings.Cut(p.rest(), " ")
	return word
}

func (p *pasted) wrong(format string, args ...any) error {
	return usage("ask for the line again, and paste all of it", "the "+p.what+": "+format, args...)
}
