package run

import (
	"fmt"
	"math"
	"strconv"
)

// tens are the powers of ten that a float64 holds exactly and that a short number needs.
var tens = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// largest keeps every value, and what is made of it, inside a float32.
const largest = 1e30

// number reads a decimal number; the first decimal mark of a file settles the others. The
// second answer says what is wrong; empty if nothing.
func (p *reader) number(b []byte) (float64, string) {
	if len(b) == 0 {
		return 0, "is missing; allowed: a number"
	}
	if v, ok := p.short(b); ok {
		return v, ""
	}
	text := make([]byte, len(b))
	copy(text, b)
	for i, ch := range text {
		switch {
		case ch == '.' || ch == ',':
			if p.mark == 0 {
				p.mark = ch
			}
			if ch != p.mark {
				return 0, fmt.Sprintf("%.40q has another decimal mark than the numbers before it; allowed: %q, and no mark between thousands", b, p.mark)
			}
			text[i] = '.'
		case ch >= '0' && ch <= '9' || ch == '+' || ch == '-' || ch == 'e' || ch == 'E':
		default:
			return 0, fmt.Sprintf("%.40q is no number", b)
		}
	}
	v, err := strconv.ParseFloat(string(text), 64)
	if err != nil && !math.IsInf(v, 0) {
		return 0, fmt.Sprintf("%.40q is no number", b)
	}
	if math.Abs(v) > largest {
		return 0, fmt.Sprintf("%.40q is too large; allowed: up to %g", b, largest)
	}
	return v, ""
}

// short reads the usual number, of up to 15 digits and no exponent: the digits and the power
// of ten are both exact, so one division rounds as it should.
func (p *reader) short(b []byte) (float64, bool) {
	i, minus := 0, false
	if b[0] == '-' || b[0] == '+' {
		i, minus = 1, b[0] == '-'
	}
	var digits int64
	count, after, fraction := 0, 0, false
	for ; i < len(b); i++ {
		ch := b[i]
		if ch >= '0' && ch <= '9' {
			digits = digits*10 + int64(ch-'0')
			count++
			if fraction {
				after++
			}
			if count > 15 {
				return 0, false
			}
			continue
		}
		if fraction || ch != p.mark || ch == 0 {
			return 0, false
		}
		fraction = true
	}
	if count == 0 {
		return 0, false
	}
	v := float64(digits) / tens[after]
	if minus {
		v = -v
	}
	return v, true
}
