package sheet

import (
	"fmt"
	"io"
	"strings"

	"charm.land/lipgloss/v2"
	"github.com/sergi/go-diff/diffmatchpatch"
)

// context is how many equal lines stand around a difference.
const context = 2

// WriteDifference prints the lines that differ between two texts, each with its sign, and the lines around them.
func WriteDifference(w io.Writer, oldName, newName, old, new string) error {
	dmp := diffmatchpatch.New()
	dmp.DiffTimeout = 0 // the answer must not depend on the clock
	a, b, lines := dmp.DiffLinesToChars(ended(old), ended(new))
	diffs := dmp.DiffCharsToLines(dmp.DiffMain(a, b, false), lines)
	var out strings.Builder
	fmt.Fprintf(&out, "− %s\n+ %s\n", plainText(oldName), plainText(newName))
	same := true
	for i, d := range diffs {
		text := strings.Split(strings.TrimSuffix(d.Text, "\n"), "\n")
		switch d.Type {
		case diffmatchpatch.DiffDelete:
			same = false
			for _, l := range text {
				fmt.Fprintln(&out, down.Render("− "+plainText(l)))
			}
		case diffmatchpatch.DiffInsert:
			same = false
			for _, l := range text {
				fmt.Fprintln(&out, up.Render("+ "+plainText(l)))
			}
		default:
			writeEqual(&out, text, i == 0, i == len(diffs)-1)
		}
	}
	if same {
		out.Reset()
		fmt.Fprintf(&out, "%s and %s say the same\n", plainText(oldName), plainText(newName))
	}
	_, err := lipgloss.Fprint(w, out.String())
	return err
}

// ended ends a text's last line, so that a missing newline is no difference.
func ended(s string) string {
	if s == "" || strings.HasSuffix(s, "\n") {
		return s
	}
	return s + "\n"
}

// writeEqual prints the ends of a run of equal lines and folds its middle.
func writeEqual(out *strings.Builder, lines []string, first, last bool) {
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
			fmt.Fprintln(out, "  "+plainText(l))
		case i == head:
			fmt.Fprintf(out, "  … %s as before\n", plural(len(lines)-head-tail, "line"))
		}
	}
}
