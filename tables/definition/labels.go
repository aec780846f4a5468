package definition

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
)

// Labels are the names of raw values; none of them reaches into another.
type Labels struct {
	ranges []labelled // sorted
	other  string     // of what no range holds; empty if none
}

type labelled struct {
	low, high int64 // ends included
	text      string
}

// LabelsOf names single raw values.
func LabelsOf(names map[int64]string) *Labels {
	l := &Labels{}
	for _, raw := range slices.Sorted(maps.Keys(names)) {
		l.ranges = append(l.ranges, labelled{raw, raw, names[raw]})
	}
	return l
}

// Of is the name of a raw value, and whether it has one.
func (l *Labels) Of(raw int64) (text string, named bool) {
	i, found := slices.BinarySearchFunc(l.ranges, raw, func(r labelled, raw int64) int { return cmp.Compare(r.low, raw) })
	if !found {
		i--
	}
	if i >= 0 && raw <= l.ranges[i].high {
		return l.ranges[i].text, true
	}
	return l.other, l.other != ""
}

// labels reads the names of raw values; a key is a raw value, "LOW..HIGH" or else.
func (c *compiler) labels(path string, labels map[string]string, cells *Cells) error {
	if cells.Float {
		return c.at.Errorf(path, "labels on whole numbers only", "the stored type is a float")
	}
	out := &Labels{}
	low, high := cells.rawRange()
	keys := make([]string, 0, len(labels))
	for key := range labels {
		keys = append(keys, key)
	}
	slices.Sort(keys)
	for _, key := range keys {
		at := fmt.Sprintf("%s[%s]", path, key)
		if labels[key] == "" {
			return c.at.Errorf(at, "some text", "the label is empty")
		}
		if key == "else" {
			out.other = labels[key]
			continue
		}
		from, to, isRange := strings.Cut(key, "..")
		a, err := strconv.ParseInt(strings.TrimSpace(from), 0, 64)
		b := a
		if err == nil && isRange {
			b, err = strconv.ParseInt(strings.TrimSpace(to), 0, 64)
		}
		switch {
		case err != nil || b < a:
			return c.at.Errorf(at, `a raw value, two with ".." between, the lower first, or else`, "%.60q is none", key)
		case a < low || b > 0 && uint64(b) > high:
			return c.at.Errorf(at, fmt.Sprintf("raw values from %d to %d", low, high), "the stored type cannot hold %s", key)
		}
		out.ranges = append(out.ranges, labelled{a, b, labels[key]})
	}
	slices.SortFunc(out.ranges, func(a, b labelled) int { return cmp.Compare(a.low, b.low) })
	for i := 1; i < len(out.ranges); i++ {
		if a, b := out.ranges[i-1], out.ranges[i]; b.low <= a.high {
			return c.at.Errorf(path, "each raw value once", "raw %d has the labels %q and %q", b.low, a.text, b.text)
		}
	}
	cells.Conv.Labels = out
	return nil
}
