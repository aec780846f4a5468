package sheet

import (
	"bytes"
	"io"
	"os"
	"strings"

	"charm.land/lipgloss/v2"
	"github.com/charmbracelet/colorprofile"

	"witnessmark/tables/changed"
	"witnessmark/tables/printed"
)

// ink is a style whose escape sequences were made once: a sheet is coloured in cell by cell.
type ink struct {
	style       lipgloss.Style
	open, close string
}

func inkOf(s lipgloss.Style) ink {
	open, close, _ := strings.Cut(s.Render("x"), "x")
	return ink{s, open, close}
}

// Render is the text in its style.
func (k ink) Render(s string) string {
	if strings.ContainsAny(s, "\t\r\n") { // several lines, and tabs, are the style's own affair
		return k.style.Render(s)
	}
	return k.open + s + k.close
}

// paper takes a sheet's text as for a terminal that has all colours, and hands it on with those that its reader has. Each of ink's
// escape sequences comes whole; there is no other one in what other people said.
type paper struct {
	bytes.Buffer // what is not handed on yet
	to           *colorprofile.Writer
	tints        map[string][]byte // what becomes of each sequence
	out          []byte
	err          error
	grid         grid // of the table at hand
	numbers      map[decimals]*printed.Numbers
	cells        []changed.Cell // of the slice at hand, and
	at           []int32        // which of them stands in each place of its rectangle; -1 for none
}

// paperFor has colour dropped where w is not a terminal or NO_COLOR is set.
func paperFor(w io.Writer) *paper {
	return &paper{to: colorprofile.NewWriter(w, os.Environ()), tints: map[string][]byte{}, numbers: map[decimals]*printed.Numbers{}}
}

// number is how numbers of so many decimals are written.
func (p *paper) number(d decimals) *printed.Numbers {
	if p.numbers[d] == nil {
		p.numbers[d] = printed.NumbersBy(d.Append)
	}
	return p.numbers[d]
}

// sheetful is how much text is handed on at once, in bytes.
const sheetful = 64 << 10

// turn hands on what was written if it is enough, or the last of it.
func (p *paper) turn(last bool) {
	if p.Len() < sheetful && !last || p.err != nil {
		return
	}
	text := p.Bytes()
	p.out = p.out[:0]
	for p.err == nil {
		at := bytes.IndexByte(text, '\x1b')
		if at < 0 {
			break
		}
		sequence := inked(text[at:])
		p.out = append(append(p.out, text[:at]...), p.tinted(sequence)...)
		text = text[at+max(1, len(sequence)):]
	}
	p.out = append(p.out, text...)
	if p.err == nil {
		_, p.err = p.to.Forward.Write(p.out)
	}
	p.Reset()
}

// inked is the sequence of ink's that text begins with; nil where it is another one.
func inked(text []byte) []byte {
	rest, ours := bytes.CutPrefix(text, []byte("\x1b["))
	end := bytes.IndexFunc(rest, func(r rune) bool { return r != ';' && (r < '0' || r > '9') })
	if !ours || end < 0 || rest[end] != 'm' {
		return nil
	}
	return text[:len(text)-len(rest)+end+1]
}

// tinted is an escape sequence in the colours that the reader has.
func (p *paper) tinted(sequence []byte) []byte {
	tint, known := p.tints[string(sequence)]
	if !known && sequence != nil {
		var b bytes.Buffer
		one := colorprofile.Writer{Forward: &b, Profile: p.to.Profile}
		_, p.err = one.Write(sequence)
		tint = b.Bytes()
		p.tints[string(sequence)] = tint
	}
	return tint
}

// done hands on the rest.
func (p *paper) done() error {
	p.turn(true)
	return p.err
}
