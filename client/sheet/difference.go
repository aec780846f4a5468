package sheet

import (
	"fmt"
	"io"
	"strings"
	"time"

	"charm.land/lipgloss/v2"
	"github.com/sergi/go-diff/diffmatchpatch"
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

// mostSought is how long the shortest difference is sought. Only texts of many thousands of lines that have little alike take as
// long, and what is told of them then is longer than it need be.
const mostSought = 2 * time.Second

// Difference is the lines that differ between two texts and those around them; none where they say the same.
func Difference(old, new string) (out []Line) {
	dmp := diffmatchpatch.New()
	dmp.DiffTimeout = mostSought
	a, b, all := dmp.DiffLinesToChars(ended(old), ended(new))
	diffs := dmp.DiffCharsToLines(dmp.DiffMain(a, b, false), all)
	was, is, same := 1, 1, true
	for i, d := range diffs {
		lines := strings.Split(strings.TrimSuffix(d.Text, "\n"), "\n")
		switch d.Type {
		case diffmatchpatch.DiffDelete:
			for k, l := range lines {
				out = append(out, Line{Sign: "−", Text: l, Number: was + k})
			}
			was, same = was+len(lines), false
		case diffmatchpatch.DiffInsert:
			for k, l := range lines {
				out = append(out, Line{Sign: "+", Text: l, Number: is + k})
			}
			is, same = is+len(lines), false
		default:
			out = append(out, around(lines, is, i == 0, i == len(diffs)-1)...)
			was, is = was+len(lines), is+len(lines)
		}
	}
	if same {
		return nil
	}
	return out
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
