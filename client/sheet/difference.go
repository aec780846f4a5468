package sheet

import (
	"fmt"
	"io"
	"strings"

	"charm.land/lipgloss/v2"
)

// context is how many equal lines stand around a difference.
const context = 2

// Line is one of a difference. Sign says whether the old text has it (−), the new one (+) or both (blank); a line without a text
// stands for Folded lines that both have.
type Line struct {
	Sign   string
	Text   string
	Number int // in the new text, of what only the old one has in the old; 0 of what is folded
	Folded int
}

// Difference is the lines that differ between two texts and those around them; none where they say the same. What it takes grows
// with the texts, however much of them differs, for which it is not always the shortest.
func Difference(old, new string) (out []Line) {
	if old, new = ended(old), ended(new); old == new {
		return nil
	}
	a, b := linesOf(old), linesOf(new)
	was, is := 0, 0
	for _, s := range append(alike(nil, a, b, stretch{}, deepest), stretch{len(a), len(b), 0}) {
		for ; was < s.old; was++ {
			out = append(out, Line{Sign: "−", Text: a[was], Number: was + 1})
		}
		for ; is < s.new; is++ {
			out = append(out, Line{Sign: "+", Text: b[is], Number: is + 1})
		}
		was, is = s.old+s.lines, s.new+s.lines
		out = append(out, around(b[s.new:is], s.new+1, s.old+s.new == 0, was == len(a) && is == len(b))...)
	}
	return out
}

// linesOf are the lines of a text whose last one is ended.
func linesOf(s string) []string {
	all := strings.Split(s, "\n")
	return all[:len(all)-1]
}

// around is the ends of a run of equal lines, from a line's number on, with its middle folded.
func around(lines []string, from int, first, last bool) (out []Line) {
	head, tail := context, context
	if first {
		head = 0
	}
	if last {
		tail = 0
	}
	for i, l := range lines {
		switch {
		case i < head || i >= len(lines)-tail:
			out = append(out, Line{Sign: " ", Text: l, Number: from + i})
		case i == head:
			out = append(out, Line{Sign: " ", Folded: len(lines) - head - tail})
		}
	}
	return out
}

// ended ends a text's last line, so that a missing newline is no difference.
func ended(s string) string {
	if s == "" || strings.HasSuffix(s, "\n") {
		return s
	}
	return s + "\n"
}

// WriteDifference prints the lines that differ between two texts, each with its sign, and the lines around them.
func WriteDifference(w io.Writer, oldName, newName, old, new string) error {
	var out strings.Builder
	fmt.Fprintf(&out, "− %s\n+ %s\n", plainText(oldName), plainText(newName))
	lines := Difference(old, new)
	if lines == nil {
		out.Reset()
		fmt.Fprintf(&out, "%s and %s say the same\n", plainText(oldName), plainText(newName))
	}
	for _, l := range lines {
		switch text := l.Sign + " " + plainText(l.Text); {
		case l.Folded > 0:
			fmt.Fprintf(&out, "  … %s as before\n", plural(l.Folded, "line"))
		case l.Sign == "−":
			fmt.Fprintln(&out, down.Render(text))
		case l.Sign == "+":
			fmt.Fprintln(&out, up.Render(text))
		default:
			fmt.Fprintln(&out, text)
		}
	}
	_, err := lipgloss.Fprint(w, out.String())
	return err
}
