package compare

import (
	"encoding/binary"
	"fmt"
	"slices"
	"strings"
	"testing"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
)

// sums is small with every kind of checksum in what belongs to nothing there.
var sums = strings.Replace(small, "checksums:\n", `checksums:
  - {id: crc, algorithm: crc-16/arc, over: [{start: 0x1020, end: 0x1030}], stored: {address: 0x10E0, type: u16}, inverse_at: {address: 0x10E2, type: u16}, restamped_on_write: true}
  - {id: list, algorithm: xor, word: 1, blocks_at: {address: 0x10E4, count: 2, entry: [start, end, sum], type: u16}, restamped_on_write: true}
  - {id: hash, algorithm: sha-256, over: [{start: 0x1050, end: 0x1058}], stored: {address: 0x10A0, length: 32}}
`, 1)

// summedImage is smallImage with all of them right; the list has 0x1030 to 0x103c and 0x1050 to 0x1058.
func summedImage(t testing.TB, lay *definition.Layout, edit func(b []byte)) []byte {
	t.Helper()
	b := smallImage()
	for i, v := range []uint16{0x1030, 0x103C, 0, 0x1050, 0x1058, 0} {
		binary.BigEndian.PutUint16(b[0xE4+2*i:], v)
	}
	edit(b)
	im, _, err := lay.Restamp(whole(lay, b), nil)
	if err != nil {
		t.Fatal(err)
	}
	return im.Bytes
}

func TestBytesOfEveryKindOfSumAreAccountedFor(t *testing.T) {
	lay := layoutOf(t, sums)
	base := summedImage(t, lay, func([]byte) {})
	for at := range 0x100 {
		owned := at >= 0xA0 && at < 0xC0 || at >= 0xE0 && at < 0xF0 || at >= 0xFC && at < 0xFF
		r := pair(t, lay, base, edited(base, func(b []byte) { b[at] ^= 0x20 }))
		if got := r.Bytes.Checksum == 1; r.Bytes.Differing != 1 || got != owned {
			t.Errorf("byte %#x: %v", at, r.Bytes)
		}
	}
	if r := pair(t, lay, base, base); len(r.Findings) > 0 || len(r.Checksums) != 6 || !slices.ContainsFunc(r.Checksums, func(c *calibrationv1.ChecksumResult) bool {
		return c.Id == "list[1]" && c.CandidateOk && c.GetBaseOk() && c.Stored == c.Computed
	}) {
		t.Errorf("equal images: %v", r.Checksums)
	}
	r := pair(t, lay, base, edited(base, func(b []byte) { b[0xE3], b[0xE6] = b[0xE3]^1, 0 }))
	f := finding(t, r, "checksum")
	inverse := binary.BigEndian.Uint16(base[0xE2:])
	for _, want := range []string{
		fmt.Sprintf("crc holds 0x%04x, inverted 0x%04x, computed is 0x%04x, inverted 0x%04x", ^inverse, inverse^1, ^inverse, inverse),
		"list[0] holds 0x00", "computed is nothing: the range ends at 0x3c, before its start 0x1030",
	} {
		if !strings.Contains(f.Detail, want) {
			t.Errorf("%q lacks %q", f.Detail, want)
		}
	}
}

// A tool that writes the controller puts right what is said to be restamped, whatever kind it is, and nothing else.
func TestRestampedReadBacks(t *testing.T) {
	lay := layoutOf(t, sums)
	right := summedImage(t, lay, func([]byte) {})
	unstamped := edited(right, func(b []byte) {
		copy(b[0xE0:], []byte{1, 2, 3, 4}) // sum and inverse
		b[0xE8], b[0xEE], b[0xFE] = 9, 9, 9
	})
	for name, c := range map[string]struct {
		found func(b []byte)
		why   string
	}{
		"as it has to be": {func([]byte) {}, ""},
		"the inverse":     {func(b []byte) { b[0xE2]++ }, "checksum crc holds"},
		"a listed sum":    {func(b []byte) { b[0xEF]++ }, "checksum list[1] holds"},
		"a listed start":  {func(b []byte) { b[0xE5]++ }, "the first at 0x10e5 (checksum list)"},
		"a hash":          {func(b []byte) { b[0xA7]++ }, "(checksum hash)"},
	} {
		same, why := SameInCar(lay, whole(lay, unstamped), whole(lay, edited(right, c.found)))
		if same != (c.why == "") || !strings.Contains(why, c.why) {
			t.Errorf("%s: %v, %q", name, same, why)
		}
	}
}

// What is not known of a list's ranges, as of the list itself, leaves its sums unjudged.
func TestHolesInListedRanges(t *testing.T) {
	lay := layoutOf(t, sums)
	for _, at := range []uint64{0x34, 0xE7} {
		b := summedImage(t, lay, func([]byte) {})
		b[at] = 0xFF
		im := whole(lay, b)
		im.Held = []image.Range{{Start: 0x1000, End: 0x1000 + at}, {Start: 0x1001 + at, End: 0x1100}}
		r, err := Check(im, lay, nil, nil)
		if err != nil {
			t.Fatal(err)
		}
		if slices.ContainsFunc(r.Checksums, func(c *calibrationv1.ChecksumResult) bool { return strings.HasPrefix(c.Id, "list") }) ||
			!slices.ContainsFunc(r.Unjudged, func(u *calibrationv1.Unjudged) bool {
				return u.Rule == "checksum" && strings.HasPrefix(u.Reason, "list: ")
			}) {
			t.Errorf("%#x unknown: %v, %v", at, r.Checksums, r.Unjudged)
		}
	}
}
