package sheet

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// rewritten makes the new text of a difference and the old one, and counts the lines that differ.
func rewritten(t interface{ Fatalf(string, ...any) }, old, new []string) (differ int) {
	was, is := 0, 0
	for _, l := range Difference(strings.Join(old, "\n")+"\n", strings.Join(new, "\n")+"\n") {
		switch {
		case l.Folded > 0:
			if !slices.Equal(old[was:was+l.Folded], new[is:is+l.Folded]) {
				t.Fatalf("%d lines after %d and %d are not as before", l.Folded, was, is)
			}
			was, is = was+l.Folded, is+l.Folded
		case l.Sign == "−" && l.Text == old[was] && l.Number == was+1:
			was, differ = was+1, differ+1
		case l.Sign == "+" && l.Text == new[is] && l.Number == is+1:
			is, differ = is+1, differ+1
		case l.Sign == " " && l.Text == old[was] && l.Text == new[is] && l.Number == is+1:
			was, is = was+1, is+1
		default:
			t.Fatalf("%+v after %d and %d lines", l, was, is)
		}
	}
	if (was != len(old) || is != len(new)) && !slices.Equal(old, new) {
		t.Fatalf("it ends at %d of %d and %d of %d lines", was, len(old), is, len(new))
	}
	return differ
}

// shortest is how many lines differ at least: what is left of both texts beside the longest row that they share.
func shortest(old, new []string) int {
	longest := make([][]int, len(old)+1)
	longest[0] = make([]int, len(new)+1)
	for i, a := range old {
		longest[i+1] = make([]int, len(new)+1)
		for j, b := range new {
			if longest[i+1][j+1] = max(longest[i][j+1], longest[i+1][j]); a == b {
				longest[i+1][j+1] = longest[i][j] + 1
			}
		}
	}
	return len(old) + len(new) - 2*longest[len(old)][len(new)]
}

// TestADifferenceIsWhole: it turns one text into the other, whatever they are, and as shortly as can be where each line stands once.
func TestADifferenceIsWhole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		words := rapid.SliceOfN(rapid.SampledFrom(strings.Split("abcdefghijkl", "")), 1, 30)
		rewritten(t, words.Draw(t, "old"), words.Draw(t, "new"))
		once := rapid.SliceOfNDistinct(rapid.IntRange(0, 30), 1, 20, func(i int) int { return i })
		texts := [2][]string{}
		for side := range texts {
			for _, n := range once.Draw(t, "once") {
				texts[side] = append(texts[side], fmt.Sprint("line ", n))
			}
		}
		if got, want := rewritten(t, texts[0], texts[1]), shortest(texts[0], texts[1]); got != want {
			t.Fatalf("%d lines differ, and at least %d have to", got, want)
		}
	})
}

// TestADifferenceOfMuch ends, also where hardly anything is alike.
func TestADifferenceOfMuch(t *testing.T) {
	var texts [2][]string
	for i := range 30_000 {
		texts[0] = append(texts[0], fmt.Sprint("line ", i))
		texts[1] = append(texts[1], fmt.Sprint([]string{"other ", "line "}[i%10/9], 30_000-i))
	}
	rewritten(t, texts[0], texts[1])
}
