package imported

import (
	"encoding/hex"
	"flag"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"witnessmark/tables/a2l"
	"witnessmark/tables/definition"
	"witnessmark/tables/image"
	"witnessmark/tables/limits"
	"witnessmark/tables/surface"
	"witnessmark/tables/yamlout"
)

var update = flag.Bool("update", false, "write testdata anew")

func hillclimb(t testing.TB, o Options) *Result {
	t.Helper()
	file, err := os.ReadFile("testdata/hillclimb.a2l")
	if err != nil {
		t.Fatal(err)
	}
	all, err := a2l.Read("hillclimb.a2l", file, nil)
	if err != nil {
		t.Fatal(err)
	}
	r, err := A2L(all[0], o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// A description that uses every construct: what comes out, byte by byte, and what is said of the rest.
func TestWholeDescription(t *testing.T) {
	r := hillclimb(t, Options{})
	var said strings.Builder
	for _, s := range r.Said {
		fmt.Fprintln(&said, s)
	}
	for name, got := range map[string][]byte{"hc-18t.yaml": yamlout.Write(r.Definition), "hc-18t.limits.yaml": yamlout.Write(r.Limits), "hillclimb.said": []byte(said.String())} {
		if *update {
			if err := os.WriteFile("testdata/"+name, got, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile("testdata/" + name)
		if err != nil || string(got) != string(want) {
			t.Errorf("%s (%v): got\n%s\nwant\n%s", name, err, got, want)
		}
	}
	lay, err := definition.Load("hc-18t.yaml", yamlout.Write(r.Definition))
	if err != nil {
		t.Fatal(err)
	}
	lim, err := limits.Load("hc-18t.limits.yaml", yamlout.Write(r.Limits))
	if err != nil {
		t.Fatal(err)
	}
	if err := lim.Check(lay); err != nil {
		t.Fatal(err)
	}
}

// What an image covers: described segments and what an image file holds; without segments what objects lie in.
func TestWhatAnImageCovers(t *testing.T) {
	object := func(name string, address int) string {
		return fmt.Sprintf("/begin CHARACTERISTIC %s \"\" VALUE 0x%x W 0 NO_COMPU_METHOD 0 9 /end CHARACTERISTIC ", name, address)
	}
	segment := func(holds, kind string, address, size int) string {
		return fmt.Sprintf("/begin MEMORY_SEGMENT s \"\" %s %s INTERN 0x%x 0x%x 0 0 0 0 0 /end MEMORY_SEGMENT ", holds, kind, address, size)
	}
	memory := func(segments ...string) string {
		return "/begin MOD_PAR \"\" " + strings.Join(segments, "") + "/end MOD_PAR "
	}
	for _, c := range []struct {
		name, text string
		held       []image.Range
		want       string
	}{
		{"objects", object("a", 0x1000) + object("b", 0x2000), nil, "[0x1000 to 0x2002]"},
		{"objects far apart", object("a", 0x1000) + object("b", 0x90000), nil, "[0x1000 to 0x1002 0x90000 to 0x90002]"},
		{"objects and a file", object("a", 0x1000), []image.Range{{Start: 0x800, End: 0x900}, {Start: 0x4000, End: 0x5000}}, "[0x800 to 0x5000]"},
		{"segments side by side", memory(segment("DATA", "FLASH", 0x1100, 0x100), segment("CODE", "FLASH", 0x1000, 0x100)) + object("a", 0x1100), nil, "[0x1000 to 0x1200]"},
		{"segments that are no part of a file", memory(segment("DATA", "FLASH", 0x1000, 0x100), segment("DATA", "RAM", 0x2000, 0x100), segment("VARIABLES", "FLASH", 0x3000, 0x100), segment("DATA", "FLASH", 0x4000, 0)) + object("a", 0x1000), nil, "[0x1000 to 0x1100]"},
		{"segments and a file that holds more", memory(segment("DATA", "FLASH", 0x1000, 0x100)) + object("a", 0x1000), []image.Range{{Start: 0x1080, End: 0x1180}, {Start: 0x8000, End: 0x8010}}, "[0x1000 to 0x1180 0x8000 to 0x8010]"},
		{"segments elsewhere", memory(segment("DATA", "FLASH", 0x9000, 0x100)) + object("a", 0x1000), nil, "[0x1000 to 0x1002]"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r, err := A2L(module(t, common+layouts+c.text), Options{Held: c.held})
			if err != nil {
				t.Fatal(err)
			}
			var got []string
			for _, region := range loaded(t, r).Space {
				got = append(got, fmt.Sprintf("0x%x to 0x%x", region.Start, region.End))
			}
			if fmt.Sprint(got) != c.want {
				t.Errorf("got %v, want %s", got, c.want)
			}
		})
	}
}

// What the description's tables hold in an image, worked out by hand.
func TestWholeDescriptionDecodes(t *testing.T) {
	lay := loaded(t, hillclimb(t, Options{}))
	img := make([]byte, lay.Size)
	for _, at := range []struct {
		address uint64
		bytes   string
	}{
		{0x80000010, "48433138542d30303432"},
		{0x80000100, "0fa0 1f40 2ee0 3e80"},                                         // 1000, 2000, 3000, 4000 1/min in quarters
		{0x80000108, "00 64 c8"},                                                    // 0, 50, 100 % in halves
		{0x80000110, "03e8 044c 04b0 0514 03e9 044d 04b1 0515 03ea 044e 04b2 0516"}, // 100, 110, 120, 130 kPa; 0.1 and 0.2 more
		{0x80000128, "03e8 044c 04b0 0514"},
		{0x80000140, "aaaa 02 50 78 ec d8 aaaaaaaa"}, // two of six: 40, 80 Cel; -10, -20 deg
		{0x80000150, "0a 14 1e 00 0a 14"},            // 10, 20, 30; 0, 1, 2
		{0x80000160, "0a 14 0c 16 0e 18"},            // y fastest: 5, 10; 6, 11; 7, 12 deg
		{0x80000170, "02 06 04 08 0a 0e 0c 10"},      // y fastest, then x, then the gear
		{0x80000180, "0064 00c8 ffff 0000"},          // 2, 4, off, 0
		{0x80000188, "32"},                           // half of 100: 20 kg/h
		{0x80000189, "1f"},                           // bits 4 and 5: 1
		{0x8000018A, "80"},                           // 128
		{0x8000018C, "6d60 7080"},                    // 7000, 7200 1/min
		{0x80000190, "68696c6c 00 2020 00"},          // hill
		{0x80000198, "c3bc 00000000 2020"},           // ü
		{0x800001A0, "0000603f"},                     // 0.875
		{0x800001A4, "af000004"},                     // far away
		{0x800001B0, "8c 6e 50 ee 0fa0 1388 1770"},   // 100, 70, 40 Cel for 1000, 1250, 1500 1/min
		{0xAF000004, "1e"},
	} {
		b, err := hex.DecodeString(strings.ReplaceAll(at.bytes, " ", ""))
		if err != nil {
			t.Fatal(err)
		}
		offset, inside := lay.Space.Offset(at.address)
		if !inside {
			t.Fatalf("0x%x is not inside", at.address)
		}
		copy(img[offset:], b)
	}
	want := map[string]string{
		"boost.target":   "x[1000 2000 3000 4000] y[0 50 100] [100 110 120 130 100.1 110.1 120.1 130.1 100.2 110.2 120.2 130.2]",
		"boost.limit_0_": "x[4000 8000 12000 16000] y[] [100 110 120 130]", "ign_intake": "x[40 80] y[] [-10 -20]", "ign_normal": "x[10 20 30] y[] [0 1 2]",
		"ign_base": "x[0 1 2] y[40 72] [5 6 7 10 11 12]", "ign_gears": "x[1000 3000] y[0 100] [1 2 3 4 5 6 7 8]",
		"inj_flow": "x[0 1] y[0 1] [2 4 NaN 0]", "air_meter": "x[] y[] [20]", "fuel_grade": "x[] y[] 98 RON", "fuel_mode": "x[] y[] full",
		"rev_soft": "x[] y[] [7000]", "rev_hard": "x[] y[] [7200]", "note_text": "x[] y[] hill", "note_owner": "x[] y[] ü", "lambda_little": "x[] y[] [0.875]", "far_value": "x[] y[] [7.5]",
		"idle_falling": "x[40 70 100] y[] [1500 1250 1000]",
	}
	for _, table := range lay.Tables {
		d := surface.Decode(table, img)
		if d.Astray != nil {
			t.Errorf("%v", d.Astray)
			continue
		}
		holds := d.Text
		if labels := table.Cells.Conv.Labels; labels != nil {
			holds, _ = labels.Of(table.Cells.Int(d.Bits[0]))
		} else if table.Kind != "text" {
			rounded := make([]float64, len(d.Values))
			for i, v := range d.Values {
				rounded[i] = math.Round(v*1e9) / 1e9
			}
			holds = fmt.Sprint(rounded)
		}
		if got := fmt.Sprintf("x%v y%v %s", d.X, d.Y, holds); want[table.ID] != "" && got != want[table.ID] {
			t.Errorf("%s: got %s, want %s", table.ID, got, want[table.ID])
		}
		delete(want, table.ID)
	}
	if len(want) > 0 {
		t.Errorf("there are no tables %v", want)
	}
}
