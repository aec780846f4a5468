package a2l

import (
	"math"
	"strconv"
	"strings"
)

// number is a finite one, as written and as a value.
func (r *reader) number(what string) (string, float64) {
	at := r.peek().Place
	w := r.word(what)
	if r.fault != nil {
		return "", 0
	}
	v, ok := Number(w)
	if !ok {
		r.bad(at, "a finite number as in 12.5 or 0x100", "%s: %.60q is not one", what, w)
	}
	return w, v
}

func (r *reader) written(what string) string {
	w, _ := r.number(what)
	return w
}

func (r *reader) float(what string) float64 {
	_, v := r.number(what)
	return v
}

// Number is the value of a number as descriptions write them.
func Number(w string) (float64, bool) {
	if hex, found := cutHex(w); found {
		u, err := strconv.ParseUint(hex, 16, 64)
		return float64(u), err == nil
	}
	if strings.ContainsAny(w, "xXpP_nNiI") { // Go's own spellings
		return 0, false
	}
	v, err := strconv.ParseFloat(w, 64)
	return v, err == nil && !math.IsInf(v, 0)
}

func cutHex(w string) (string, bool) {
	if len(w) > 2 && w[0] == '0' && (w[1] == 'x' || w[1] == 'X') {
		return w[2:], true
	}
	return "", false
}

// whole is a number without a sign, at most most.
func (r *reader) whole(what string, most uint64) uint64 {
	at := r.peek().Place
	w := r.word(what)
	if r.fault != nil {
		return 0
	}
	digits, base := w, 10
	if hex, found := cutHex(w); found {
		digits, base = hex, 16
	}
	u, err := strconv.ParseUint(digits, base, 64)
	if v, ok := Number(w); err != nil && ok && v >= 0 && v == math.Trunc(v) && v < 1<<53 { // 4.0
		u, err = uint64(v), nil
	}
	if err != nil || u > most {
		r.bad(at, "0 to "+strconv.FormatUint(most, 10), "%s: %.60q is not a whole number that can stand here", what, w)
		return 0
	}
	return u
}

// signed is a whole number that may be below 0.
func (r *reader) signed(what string) int64 {
	at := r.peek().Place
	w := r.word(what)
	if r.fault != nil {
		return 0
	}
	i, err := strconv.ParseInt(w, 10, 64)
	if hex, found := cutHex(w); found {
		i, err = strconv.ParseInt(hex, 16, 64)
	}
	if err != nil {
		r.bad(at, "a whole number", "%s: %.60q is none", what, w)
	}
	return i
}
