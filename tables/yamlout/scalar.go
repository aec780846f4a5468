package yamlout

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// number writes a finite number. One that is whole has no point, but for minus zero, which needs it.
func (w *writer) number(v float64) {
	switch {
	case v == 0 && math.Signbit(v):
		w.WriteString("-0.0")
	case v == math.Trunc(v) && math.Abs(v) < 1e15:
		w.WriteString(strconv.FormatFloat(v, 'f', -1, 64))
	default:
		w.WriteString(strconv.FormatFloat(v, 'g', -1, 64))
	}
}

// bare says whether text means itself without quotes wherever it stands: words of letters, digits and _ . / ( ) -, one blank
// between, which begin with a letter; and 1/min and the like.
func bare(s string) bool {
	if rest, reciprocal := strings.CutPrefix(s, "1/"); reciprocal {
		s = rest
	}
	if s == "" || !letter(s[0]) || s[len(s)-1] == ' ' || words[strings.ToLower(s)] {
		return false
	}
	for i := range len(s) {
		c := s[i]
		if !letter(c) && !(c >= '0' && c <= '9') && strings.IndexByte("./()-", c) < 0 && (c != ' ' || s[i-1] == ' ') {
			return false
		}
	}
	return true
}

func letter(c byte) bool { return c|0x20 >= 'a' && c|0x20 <= 'z' || c == '_' }

var whole = regexp.MustCompile(`^(0|-?[1-9][0-9]{0,17})$`)

// words that readers of YAML take for something else than text.
var words = map[string]bool{"true": true, "false": true, "null": true, "yes": true, "no": true, "on": true, "off": true, "y": true, "n": true, "nan": true, "inf": true}

func (w *writer) text(s string) {
	if bare(s) {
		w.WriteString(s)
		return
	}
	w.WriteString(quoted(s))
}

// quoted is text in double quotes, as YAML and JSON both read it.
func quoted(s string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r == '\n':
			b.WriteString(`\n`)
		case r == '\t':
			b.WriteString(`\t`)
		case r < ' ' || r == 0x7f || r == 0x85 || r == 0xa0 || r == 0x2028 || r == 0x2029 || r == 0xfeff || r >= 0xd800 && r <= 0xdfff:
			fmt.Fprintf(&b, `\u%04x`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
