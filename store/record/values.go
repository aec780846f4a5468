package record

import (
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/tables/image"
)

// Bounds of what a person writes, in characters.
const (
	maxName    = 64
	maxShort   = 200 // plates, fuels, parts, finding keys
	maxText    = 4000
	maxParts   = 100
	maxKeys    = 10000 // warnings of one judgement, tables meant
	maxRequest = 200
	maxNumbers = 64
	maxNumber  = 1e12 // the largest size of a number, either sign
	maxDigits  = 32   // characters of a number's text
)

// checkHash wants the hex form that everything is named by.
func checkHash(at, h string) error {
	if isHex(h) && len(h) == 64 {
		return nil
	}
	return badValue(at, "64 lower-case hex digits", "%q is not a SHA-256", short(h))
}

func isHex(h string) bool {
	for i := 0; i < len(h); i++ {
		if c := h[i]; (c < '0' || c > '9') && (c < 'a' || c > 'f') {
			return false
		}
	}
	return true
}

// checkTime wants RFC 3339 in UTC, in the one way that an instant is written: Parse alone would
// let an hour of one digit, a comma, and zeros at the end of a fraction pass.
func checkTime(at, t string) error {
	parsed, err := time.Parse(time.RFC3339, t)
	if err != nil || parsed.UTC().Format(time.RFC3339Nano) != t {
		return badValue(at, "RFC 3339 in UTC, such as 2026-05-01T09:30:00Z", "%q is not a time", short(t))
	}
	return nil
}

// checkLine wants one line that is not blank, has no space around it, and nothing in it that
// cannot be seen: two names must not look the same and be two.
func checkLine(at, text string, max int) error {
	if text == "" {
		return badValue(at, "some text", "missing")
	}
	if strings.TrimSpace(text) != text {
		return badValue(at, "text without space around it", "begins or ends with space")
	}
	if strings.Contains(text, "\n") {
		return badValue(at, "one line", "has several lines")
	}
	for _, r := range text {
		if !unicode.IsGraphic(r) {
			return badValue(at, "characters that can be seen", "has the character %U", r)
		}
	}
	return checkText(at, text, max)
}

// checkReason wants a reason: any text that is not blank.
func checkReason(at, text string) error {
	if strings.TrimSpace(text) == "" {
		return badValue(at, "a reason, in words", "a reason is missing")
	}
	return checkText(at, text, maxText)
}

// checkText allows nothing that can hide or reorder what a reader sees.
func checkText(at, text string, max int) error {
	if !utf8.ValidString(text) {
		return badValue(at, "UTF-8", "is not UTF-8")
	}
	if n := utf8.RuneCountInString(text); n > max {
		return refuse(ReasonBadValue, at, "", "%s: has %d characters; allowed: at most %d", at, n, max)
	}
	for _, r := range text {
		hides := unicode.IsControl(r) && r != '\n' || unicode.Is(unicode.Bidi_Control, r) ||
			r == '\u2028' || r == '\u2029'
		if hides {
			return badValue(at, "text and newlines", "has the control character %U", r)
		}
	}
	return nil
}

// checkDocumentName wants what the name field of a definition or of limits allows.
func checkDocumentName(at, name string) error {
	ok := name != "" && len(name) <= maxName
	for i := 0; i < len(name); i++ {
		c := name[i]
		ok = ok && (c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '.' || c == '_' || c == '-')
	}
	if !ok {
		return badValue(at, "[a-z0-9._-]+, at most 64", "%q is not a name", short(name))
	}
	return nil
}

// checkNumbers wants names that an expression can say, and each value in the one way it is
// written: the shortest decimal that reads back as the same 64-bit float, without an exponent.
func checkNumbers(at string, numbers map[string]string) error {
	if len(numbers) > maxNumbers {
		return badValue(at, "at most 64 numbers", "there are %d", len(numbers))
	}
	for _, name := range slices.Sorted(maps.Keys(numbers)) {
		if !isNumberName(name) {
			return badValue(at, "[a-z][a-z0-9_]*, at most 64", "%q is not a number's name", short(name))
		}
		text := numbers[name]
		if _, ok := decimal(text); !ok {
			return badValue(at+"."+name, "a decimal number from -1e12 to 1e12 in its shortest form, such as 6500 or 0.7", "%q is none", short(text))
		}
	}
	return nil
}

// decimal reads a number that is written in its one way.
func decimal(text string) (v float64, ok bool) {
	v, err := strconv.ParseFloat(text, 64)
	return v, err == nil && math.Abs(v) <= maxNumber && len(text) <= maxDigits && strconv.FormatFloat(v+0, 'f', -1, 64) == text
}

func isNumberName(name string) bool {
	ok := name != "" && len(name) <= maxName && name[0] >= 'a' && name[0] <= 'z'
	for i := 0; i < len(name); i++ {
		c := name[i]
		ok = ok && (c >= 'a' && c <= 'z' || c >= '0' && c <= '9' || c == '_')
	}
	return ok
}

// checkOneOf wants one of a few words.
func checkOneOf(at, word string, words ...string) error {
	for _, w := range words {
		if w == word {
			return nil
		}
	}
	shown := make([]string, len(words))
	for i, w := range words {
		if shown[i] = w; w == "" {
			shown[i] = "nothing"
		}
	}
	return badValue(at, strings.Join(shown, ", "), "%q is none of them", short(word))
}

// checkImage asks whether an image is named in a way that a file can have.
func checkImage(at string, im *recordv1.Image) error {
	if err := image.CheckMessage(im); err != nil {
		return refuse(ReasonBadValue, at, "", "%s.%s", at, oneLine(err.Error()))
	}
	return nil
}

// sameRanges compares what two files held.
func sameRanges(a, b *recordv1.Image) bool {
	return proto.Equal(&recordv1.Image{Ranges: a.GetRanges()}, &recordv1.Image{Ranges: b.GetRanges()})
}

// short keeps a refusal to one line whatever was sent.
func short(text string) string {
	if utf8.RuneCountInString(text) <= 80 {
		return text
	}
	return string([]rune(text)[:80]) + "…"
}

// CheckOpened is what a sealed text must be, by the field that holds it; the error is a *Refusal.
// Decide never sees the text: whoever seals one and whoever admits it asks here. No error holds it.
func CheckOpened(o *recordv1.Opening) error {
	at, text := o.GetField(), o.GetText()
	switch at {
	case "plate":
		if err := checkLine(at, text, maxShort); err != nil {
			return err
		}
		if NormalPlate(text) == "" {
			return badValue(at, "a plate", "has neither letter nor digit")
		}
		return nil
	case "frame":
		if NormalFrame(text) != text {
			return badValue(at, "capitals and digits without blanks and hyphens", "the frame number is written in another way")
		}
		return checkLine(at, text, maxShort)
	case "file_name", "name":
		return checkLine(at, text, maxShort)
	}
	return checkReason(at, text)
}

// CheckNumbers is what Decide asks of a job's numbers; the error is a *Refusal.
func CheckNumbers(numbers map[string]string) error { return checkNumbers("job.numbers", numbers) }
