package compare

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
)

// record is a map in a packed record: a count, its breakpoints, the other count, its breakpoints, the values. With all used they stand
// at 0x1000, 0x1001, 0x1005, 0x1006 and 0x1009. Two more share an axis, of which one does not vary.
const record = `
name: record-1
byte_order: big
image: {start: 0x1000, size: 0x40}
axes:
  - {id: shared, stored: {address: 0x1030, type: u8, count: 2}}
tables:
  - {id: boost, quantity: boost, unit: kPa, stored: {address: 0x1009, type: u8, layout: packed},
     x: {quantity: engine_speed, unit: 1/min, stored: {address: 0x1001, type: u8, count: 4, count_at: {address: 0x1000, type: u8}}},
     y: {quantity: pedal, unit: "%", stored: {address: 0x1006, type: u8, count: 3, count_at: {address: 0x1005, type: u8}}}}
  - {id: still, quantity: duty, unit: "%", stored: {address: 0x1032, type: u8}, x: {axis: shared}}
  - {id: varies, quantity: duty, unit: "%", stored: {address: 0x1036, type: u8}, x: {axis: shared}, y: {stored: {address: 0x1038, type: u8, count: 2, count_at: {address: 0x103A, type: u8}}}}
`

// recordImage uses two columns and two rows: the second count stands at 0x1003, the values at 0x1006 to 0x100a.
func recordImage() []byte {
	b := make([]byte, 0x40)
	copy(b, []byte{2, 10, 20, 2, 1, 2, 41, 42, 43, 44})
	copy(b[0x30:], []byte{1, 2, 5, 6})
	b[0x3A] = 1
	return b
}

// Each byte of the record is the table's where it stands in either image.
func TestCountsThatMove(t *testing.T) {
	lay := layoutOf(t, record)
	for _, c := range []struct {
		name             string
		edit             func(b []byte)
		mapped, unmapped uint32
		findings         string
		changed          bool
	}{
		{"a value", func(b []byte) { b[9]++ }, 1, 0, "", true},
		{"behind the values", func(b []byte) { b[10], b[11] = 1, 1 }, 0, 2, "", false},
		{"the second count", func(b []byte) { b[3] = 1 }, 1, 0, "", true},
		{"another first count, and all of the record with it", func(b []byte) { copy(b, []byte{3, 10, 20, 30, 2, 1, 2, 41, 42, 0, 43, 44}) }, 10, 0, "", true},
		{"what follows becomes the second count", func(b []byte) { b[0] = 1 }, 1, 0, "pointer:boost danger", false},                      // 20 of 3
		{"the first count, and where the second would stand", func(b []byte) { b[0], b[5] = 9, 9 }, 2, 0, "pointer:boost danger", false}, // a breakpoint of the base
		{"the first count, and what was no one's", func(b []byte) { b[0], b[11] = 0, 9 }, 1, 1, "pointer:boost danger", false},
		{"the second count leads outside", func(b []byte) { b[3] = 4 }, 1, 0, "pointer:boost danger", false},
	} {
		r := pair(t, lay, recordImage(), edited(recordImage(), c.edit))
		var found []string
		for _, f := range r.Findings {
			if f.Rule == pointerRule {
				found = append(found, fmt.Sprintf("%s:%s %s", f.Rule, f.Table, f.Severity))
			}
		}
		changed := slices.ContainsFunc(r.Tables, func(t *calibrationv1.TableReport) bool { return t.Id == "boost" })
		if r.Bytes.Mapped != c.mapped || r.Bytes.Unmapped != c.unmapped || strings.Join(found, ", ") != c.findings || changed != c.changed {
			t.Errorf("%s: %v, %v, reported %v", c.name, r.Bytes, found, changed)
		}
	}
}

// In both the first count leads outside: where the second one stands cannot be told, so what changed there is nobody's.
func TestCountsThatLeadOutsideAllAlong(t *testing.T) {
	lay := layoutOf(t, record)
	wrong := edited(recordImage(), func(b []byte) { b[0] = 0 })
	r := pair(t, lay, wrong, edited(wrong, func(b []byte) { b[3], b[5] = 1, 1 }))
	if r.Bytes.Unmapped != 2 || len(r.Tables) != 0 || len(r.Unjudged) != 1 {
		t.Errorf("%v", r)
	}
}

// What an image lacks of a record is asked for where it stands in that image; breakpoints that a table which does not vary shares
// with one that does are missed by both.
func TestHolesInARecord(t *testing.T) {
	lay := layoutOf(t, record)
	for _, c := range []struct {
		at    uint64
		lacks string // tables
	}{{0, "boost"}, {2, "boost"}, {3, "boost"}, {4, "boost"}, {9, "boost"}, {0xA, ""}, {0x13, ""}, {0x31, "still varies"}, {0x33, "still"}, {0x3A, "varies"}} {
		base, cand := holed(lay, recordImage(), c.at, c.at+1), holed(lay, edited(recordImage(), func(b []byte) { b[0x3F]++ }), c.at, c.at+1)
		r := compared(t, Input{Base: base, Candidate: cand, Layout: lay})
		var lacks []string
		for _, u := range r.Unjudged {
			if strings.HasSuffix(u.Reason, "of it are unknown") {
				lacks = append(lacks, u.Table)
			}
		}
		if got := strings.Join(lacks, " "); got != c.lacks || len(r.Findings) > 1 { // unmapped alone
			t.Errorf("without 0x%x: %q, %v", c.at, got, r.Findings)
		}
	}
}
