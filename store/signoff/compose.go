package signoff

import (
	"slices"
	"sync"
)

// composing is the table of letters that are composed of two, both ways.
var composing = sync.OnceValues(func() (parts map[rune][2]rune, whole map[[2]rune]rune) {
	parts, whole = map[rune][2]rune{}, map[[2]rune]rune{}
	for _, c := range compositions {
		pair := [2]rune{c[1], c[2]}
		parts[c[0]], whole[pair] = pair, c[0]
	}
	return parts, whole
})

// decomposed is Unicode's form NFD: letters in parts, the marks of each in order of their classes. Korean
// syllables stay whole, since their parts are no letters of a name.
func decomposed(text string) []rune {
	parts, _ := composing()
	var out []rune
	var add func(r rune)
	add = func(r rune) {
		if pair, ok := parts[r]; ok {
			add(pair[0])
			add(pair[1])
			return
		}
		at := len(out)
		for class := classOf(r); class != 0 && at > 0 && classOf(out[at-1]) > class; {
			at--
		}
		out = slices.Insert(out, at, r)
	}
	for _, r := range text {
		add(r)
	}
	return out
}

// composed is Unicode's form NFC: each letter in one piece, as far as there is one.
func composed(text string) string {
	_, whole := composing()
	var out []rune
	letter, last := -1, uint8(0) // where the last letter stands, and the class of what came last after it
	for _, r := range decomposed(text) {
		class := classOf(r)
		if letter >= 0 && (letter == len(out)-1 || last < class) {
			if one, ok := whole[[2]rune{out[letter], r}]; ok {
				out[letter] = one
				continue
			}
		}
		if last = class; class == 0 {
			letter = len(out)
		}
		out = append(out, r)
	}
	return string(out)
}

func classOf(r rune) uint8 {
	w, _ := writingOf(r)
	return w.class
}
