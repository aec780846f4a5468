package signoff

import (
	"errors"
	"math/rand/v2"
	"strings"
	"testing"
	"unicode"

	"golang.org/x/text/cases"
	"golang.org/x/text/unicode/norm"
)

func TestCheckName(t *testing.T) {
	for _, good := range []string{
		"Ada", "lead", "O'Neill-Smith", "j.r_2", "Žofie Å", "Иван Петров", "Γιώργος", "山田 太郎", "スズキ ひろ子", "コーヒー", "佐々木",
		"김 철수", "金철수", "محمد", "אורי", "রাহুল", "ไพลิน", "नीता २", "Նարե", "7", strings.Repeat("ж", 64), "a  b", "q\u0323\u0302",
	} {
		if err := CheckName(good); err != nil {
			t.Error(err)
		}
	}
	for bad, says := range map[string]string{
		"":                            "0 characters",
		strings.Repeat("a", 65):       "65 characters",
		" a":                          "blank at an end",
		"a ":                          "blank at an end",
		". - _ '":                     "no letter",
		"...":                         "no letter",
		"a\tb":                        "U+0009",
		"a\u00a0b":                    "U+00A0",
		"a\u3000b":                    "U+3000",
		"a\u200bb":                    "U+200B",
		"a\u200db":                    "U+200D",
		"a\u202eb":                    "U+202E",
		"a\u00adb":                    "U+00AD",
		"a\u034fb":                    "U+034F",
		"a\ufe0f":                     "U+FE0F",
		"\u3164":                      "U+3164",
		"\u115f\u1160":                "U+115F",
		"a\U000e0100":                 "U+E0100",
		"a,b":                         "U+002C",
		"a’b":                         "U+2019",
		"a/b":                         "U+002F",
		"a\xffb":                      "U+FFFD",
		"a\x00":                       "U+0000",
		"\U0001d400da":                "U+1D400",
		"😀":                           "U+1F600",
		"a\U000e07ff":                 "U+E07FF",
		"\ue000":                      "U+E000",
		"\u212b":                      "U+212B",
		"\uf900":                      "U+F900",
		"\u1112\u1161\u11ab":          "U+1112",
		"\u0301a":                     "mark U+0301",
		"a \u0301":                    "mark U+0301",
		"Zofi\u0065\u0301":            "NFC",
		"a\u0302\u0323":               "NFC",
		"\u00e9\u0327":                "NFC",
		"\u09c7\u09be":                "mark U+09C7",
		"\u0995\u09c7\u09be":          "NFC",
		"Аda":                         "Cyrillic and Latin",
		"Adа":                         "Latin and Cyrillic",
		"山田 Taro":                     "Han and Latin",
		"ひ김":                          "Hiragana and Hangul",
		"山ひ김":                         "one script",
		"Omikron ο":                   "Latin and Greek",
		"a" + strings.Repeat(" ", 64): "65 characters",
	} {
		err := CheckName(bad)
		if !errors.Is(err, ErrName) || !strings.Contains(err.Error(), says) || strings.ContainsAny(err.Error(), "\n\r\t\u202e\u200b") {
			t.Errorf("%+q: %v, want %q", bad, err, says)
		}
	}
}

func TestFoldName(t *testing.T) {
	for _, same := range [][]string{
		{"Ada", "ADA", "aDa"}, {"Straße", "STRASSE", "strasse", "STRAẞE"}, {"Σίσυφος", "ΣΊΣΥΦΟΣ", "σίσυφοσ"}, {"Žofie", "žOFIE"},
		{"ᏣᎳᎩ", "ꮳꮃꭹ"}, {"և", "ԵՒ"}, {"ǰon", "J̌ON"}, {"ᾳ", "ᾼ", "ΑΙ"},
	} {
		for _, name := range same[1:] {
			if FoldName(name) != FoldName(same[0]) {
				t.Errorf("%q and %q fold to %+q and %+q", same[0], name, FoldName(same[0]), FoldName(name))
			}
		}
	}
	for _, other := range [][2]string{{"Ada", "Adá"}, {"ı", "i"}, {"İ", "i"}, {"a b", "ab"}, {"Ада", "Aдa"}} {
		if FoldName(other[0]) == FoldName(other[1]) {
			t.Errorf("%q and %q fold alike", other[0], other[1])
		}
	}
}

func TestLooksLike(t *testing.T) {
	for a, b := range map[string]string{"Bob": "ВОВ", "Ilya": "1lya", "Otto": "0tto", "J. Smith": "j smith", "Zoe": "Zoë", "Τom": "Tom", "paul": "pauI"} {
		if !LooksLike(a, b) {
			t.Errorf("%q and %q: %q and %q", a, b, skeleton(a), skeleton(b))
		}
	}
	for a, b := range map[string]string{"Bob": "Rob", "Ada": "Ida", "山田": "山本", "technician": "lead"} {
		if LooksLike(a, b) {
			t.Errorf("%q and %q look alike", a, b)
		}
	}
}

// sameUnicode skips where Go has moved on: then the tables cannot be compared with its own.
func sameUnicode(t *testing.T) {
	t.Helper()
	for _, version := range []string{unicode.Version, norm.Version, cases.UnicodeVersion} {
		if version != "15.0.0" {
			t.Skipf("the tables are of Unicode 15.0.0, this Go has %s", version)
		}
	}
}

// TestTablesAreUnicode compares every character's row with Go's own tables.
func TestTablesAreUnicode(t *testing.T) {
	sameUnicode(t)
	for i, w := range writings {
		if w.from > w.to || i > 0 && w.from <= writings[i-1].to {
			t.Fatalf("row %d is out of order: %v", i, w)
		}
	}
	fold := cases.Fold()
	lines, left := 0, map[rune]bool{}
	for r := rune(0); r <= unicode.MaxRune; r++ {
		w, ok := writingOf(r)
		if ok {
			lines++
			script := unicode.Scripts["Inherited"]
			if w.script != 0 {
				script = unicode.Scripts[scriptNames[w.script-1]]
			}
			if !unicode.Is(script, r) && (!unicode.Is(unicode.Common, r) || !strings.ContainsRune("0123456789ー〆٠١٢٣٤٥٦٧٨٩", r)) {
				t.Errorf("%U is of no script %d", r, w.script)
			}
			if w.mark != unicode.Is(unicode.M, r) || !unicode.IsGraphic(r) || unicode.In(r, unicode.Z, unicode.P, unicode.S, unicode.C, unicode.Me) {
				t.Errorf("%U is in the tables as %+v", r, w)
			}
			// The library swaps Cherokee's two cases; what SimpleFold says of them is asked below.
			if got := FoldName(string(r)); !unicode.Is(unicode.Cherokee, r) && got != norm.NFC.String(fold.String(norm.NFD.String(string(r)))) {
				t.Errorf("%U folds to %+q", r, got)
			}
			for o := unicode.SimpleFold(r); o != r; o = unicode.SimpleFold(o) {
				if _, named := writingOf(o); named && FoldName(string(o)) != FoldName(string(r)) && !strings.ContainsRune("İı", o) {
					t.Errorf("%U and %U differ in case alone, and fold to %+q and %+q", r, o, FoldName(string(r)), FoldName(string(o)))
				}
			}
		} else if unicode.IsLetter(r) && norm.NFC.IsNormalString(string(r)) {
			left[r] = true
		}
		parts := norm.NFD.String(string(r))
		if r >= 0xac00 && r <= 0xd7a3 {
			parts = string(r) // Korean syllables stay whole: their parts are no name's
		}
		if ok && (w.class != norm.NFC.PropertiesString(string(r)).CCC() || composed(string(r)) != string(r) || string(decomposed(string(r))) != parts) {
			t.Errorf("%U: class %d, composed %+q, decomposed %+q", r, w.class, composed(string(r)), string(decomposed(string(r))))
		}
	}
	if lines < 130000 {
		t.Errorf("only %d characters", lines)
	}
	// Letters that are no name's: parts of Korean syllables and fillers, and those of no script, such as mathematical ones.
	for r := range left {
		korean := r >= 0x1100 && r <= 0x11ff || r >= 0xa960 && r <= 0xa97f || r >= 0xd7b0 && r <= 0xd7ff || r == 0x3164 || r == 0xffa0
		if !korean && !unicode.Is(unicode.Common, r) {
			t.Errorf("%U is a letter of a script, and is left out", r)
		}
	}
}

// TestComposing compares NFC of random names with the library's; the seed replays it.
func TestComposing(t *testing.T) {
	sameUnicode(t)
	seed := rand.Uint64()
	rng := rand.New(rand.NewPCG(seed, 1))
	var marks []rune
	for _, w := range writings {
		for r := w.from; w.mark && r <= w.to; r++ {
			marks = append(marks, r)
		}
	}
	fold := cases.Fold()
	changed := 0
	for range 30000 {
		var text []rune
		for range 1 + rng.IntN(6) {
			switch c := compositions[rng.IntN(len(compositions))]; rng.IntN(5) {
			case 0:
				text = append(text, c[0])
			case 1:
				text = append(text, c[1])
			case 2:
				text = append(text, c[2])
			case 3:
				text = append(text, marks[rng.IntN(len(marks))])
			default:
				text = append(text, 'a', '\u0323', '\u0302')
			}
		}
		got, want := composed(string(text)), norm.NFC.String(string(text))
		if got != want {
			t.Fatalf("seed %d: %+q composes to %+q, the library has %+q", seed, string(text), got, want)
		}
		if got != string(text) {
			changed++
		}
		if got, want := FoldName(got), norm.NFC.String(fold.String(norm.NFD.String(got))); got != want {
			t.Fatalf("seed %d: %+q folds to %+q, the library has %+q", seed, string(text), got, want)
		}
	}
	if changed < 3000 {
		t.Errorf("seed %d: only %d texts were changed", seed, changed)
	}
}

func FuzzCheckName(f *testing.F) {
	for _, name := range []string{"Ada", "山田 太郎", "a\u0302\u0323", "\xff", "Straße"} {
		f.Add(name)
	}
	f.Fuzz(func(t *testing.T, name string) {
		if CheckName(name) != nil {
			return
		}
		if !norm.NFC.IsNormalString(name) || strings.TrimSpace(name) != name || FoldName(FoldName(name)) != FoldName(name) {
			t.Fatalf("%+q was taken; it folds to %+q", name, FoldName(name))
		}
		for _, r := range name {
			if !unicode.IsGraphic(r) || unicode.IsControl(r) {
				t.Fatalf("%+q was taken with %U", name, r)
			}
		}
	})
}
