package signoff

import (
	"fmt"
	"slices"
	"sort"
	"strings"
	"unicode/utf8"
)

// maxName is the most characters that a person's name may have.
const maxName = 64

// writing is characters that follow each other and are alike: their script (from 1 in scriptNames, 0
// goes with every script), whether they are marks, and by which class marks are put in order.
type writing struct {
	from, to rune
	script   uint8
	mark     bool
	class    uint8
}

// writingOf finds a letter, digit or mark; any other character is not ok.
func writingOf(r rune) (w writing, ok bool) {
	i := sort.Search(len(writings), func(i int) bool { return writings[i].to >= r })
	if i == len(writings) || writings[i].from > r {
		return writing{}, false
	}
	return writings[i], true
}

const between = " .-_'"

// CheckName refuses what cannot be a person's name, as ErrName. A name has at most 64 characters: letters
// and digits of one script, and blanks and . - _ ' among them; it is in Unicode's form NFC.
func CheckName(name string) error {
	switch n := utf8.RuneCountInString(name); {
	case n == 0 || n > maxName:
		return nameError(name, "it has %d characters, 1 to %d are allowed", n, maxName)
	case strings.Trim(name, " ") != name:
		return nameError(name, "a blank at an end, none is allowed there")
	case strings.Trim(name, between) == "":
		return nameError(name, "no letter, one at least is needed")
	}
	var used []uint8
	markable := false
	for _, r := range name {
		w, ok := writingOf(r)
		switch {
		case !ok && !strings.ContainsRune(between, r):
			return nameError(name, "the character %U, letters, digits, blank and . - _ ' are allowed", r)
		case w.mark && !markable:
			return nameError(name, "the mark %U, it is allowed behind a letter or a digit", r)
		case w.script != 0 && !slices.Contains(used, w.script):
			used = append(used, w.script)
		}
		markable = ok
	}
	if !oneScript(used) {
		return nameError(name, "letters of %s and %s, one script is allowed", scriptNames[used[0]-1], scriptNames[used[1]-1])
	}
	if composed(name) != name {
		return nameError(name, "a letter in parts, it is allowed in Unicode's form NFC, in one piece")
	}
	return nil
}

func nameError(name, format string, args ...any) error {
	return fmt.Errorf("name %+q: %s: %w", clip(name), fmt.Sprintf(format, args...), ErrName)
}

// oneScript says whether scripts are written together: Japanese is of three, Korean of two.
func oneScript(used []uint8) bool {
	within := func(names string) bool {
		return !slices.ContainsFunc(used, func(s uint8) bool { return !slices.Contains(strings.Fields(names), scriptNames[s-1]) })
	}
	return len(used) <= 1 || within("Han Hiragana Katakana") || within("Hangul Han")
}

// FoldName is the form that names have in common when they differ in case alone: such names are one
// name. It is defined for what CheckName allows.
func FoldName(name string) string {
	var folded strings.Builder
	for _, r := range decomposed(name) {
		if long, ok := longFoldings[r]; ok {
			folded.WriteString(long)
			continue
		}
		for _, f := range foldings {
			if f.from <= r && r <= f.to && (r-f.from)%f.step == 0 {
				r += f.delta
				break
			}
		}
		folded.WriteRune(r)
	}
	return composed(folded.String())
}

// folding is characters, step apart, whose folded form lies delta away.
type folding struct{ from, to, step, delta rune }

// alike is what is easily taken for a Latin letter, folded, and that letter.
var alike = strings.NewReplacer(strings.Fields(`
	а a в b е e ѕ s і l ј j к k м m н h о o р p с c т t у y х x һ h ԁ d ԛ q ԝ w
	α a β b ε e ζ z η n ι l κ k μ m ν v ο o ρ p τ t υ u χ x 0 o 1 l i l`)...)

// LooksLike says whether two names could be taken for each other: worth a warning and no more.
func LooksLike(a, b string) bool { return skeleton(a) == skeleton(b) }

func skeleton(name string) string {
	letters := strings.Map(func(r rune) rune {
		if w, ok := writingOf(r); !ok || w.mark {
			return -1
		}
		return r
	}, string(decomposed(FoldName(name))))
	return alike.Replace(letters)
}
