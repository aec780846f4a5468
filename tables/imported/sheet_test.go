package imported

import (
	"bytes"
	"encoding/csv"
	"errors"
	"os"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/definition"
	"witnessmark/tables/surface"
	"witnessmark/tables/yamldoc"
	"witnessmark/tables/yamlout"
)

func csvOf(t testing.TB, rows [][]string) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := csv.NewWriter(&b).WriteAll(rows); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// A hand-written sheet, as it comes out of an office program with semicolons and decimal commas.
func TestSheet(t *testing.T) {
	file := "\ufeffid;title;quantity;unit;address;type;byte_order;factor;offset;x_axis;x_quantity;x_unit;x_address;x_type;x_byte_order;x_count;x_factor;y_quantity;y_points;rows;columns\n" +
		"boost;\"Boost; the target\";manifold_pressure;kPa;0x1000;u16;big;0,5;-10;rpm;engine_speed;U/min;0x1010;u8;;2;100;gear;1 2,5;;\n" +
		";;;;;;;;;;;;;;;;;;;;\n" +
		"spark;;ignition_advance;Grad KW;4128;s8;;;;rpm;;;;;;;;;;;\n" +
		"grid;;;;0x1030;u8;;;;;;;;;;;;;;2;3\n" +
		"one;;;glorps;0x1040;u8;;;;;;;;;;;;;;;\n"
	d, err := Sheet("tables.csv", "Club Car", []byte(file), Options{})
	if err != nil {
		t.Fatal(err)
	}
	want := `name: club_car
byte_order: big
image:
  start: 0x1000
  size: 0x41
axes:
  - {id: rpm, quantity: engine_speed, unit: 1/min, stored: {address: 0x1010, type: u8, count: 2}, conversion: {factor: 100}}
tables:
  - id: boost
    title: "Boost; the target"
    quantity: manifold_pressure
    unit: kPa
    stored: {address: 0x1000, type: u16}
    conversion: {factor: 0.5, offset: -10}
    x: {axis: rpm}
    y: {quantity: gear, unit: "1", points: [1, 2.5]}
  - {id: spark, quantity: ignition_advance, unit: deg, stored: {address: 0x1020, type: s8}, x: {axis: rpm}}
  - {id: grid, unit: "1", stored: {address: 0x1030, type: u8}, x: {points: [0, 1, 2], index: true}, y: {points: [0, 1], index: true}}
  - {id: one, stored: {address: 0x1040, type: u8}, unit_text: glorps}
`
	want = strings.Replace(want, "{id: one, stored: {address: 0x1040, type: u8}, unit_text: glorps}", "{id: one, unit_text: glorps, stored: {address: 0x1040, type: u8}}", 1)
	got := yamlout.Write(d)
	if string(got) != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	lay, err := definition.Load("club.yaml", got)
	if err != nil {
		t.Fatal(err)
	}
	img := make([]byte, lay.Size)
	copy(img, []byte{0, 20, 0, 40, 0, 60, 0, 80, 16: 10, 17: 20})
	if b := surface.Decode(lay.ByID["boost"], img); !close(b.X, []float64{1000, 2000}) || !close(b.Y, []float64{1, 2.5}) || !close(b.Values, []float64{0, 10, 20, 30}) {
		t.Errorf("got x %v, y %v, %v", b.X, b.Y, b.Values)
	}
}

// A part of a sheet has the axes that its rows name, also where a row that was not asked for describes them.
func TestPartOfASheet(t *testing.T) {
	file := []byte("id,unit,address,type,x_axis,x_quantity,x_unit,x_address,x_type,x_count\n" +
		"boost,kPa,0x1000,u8,rpm,engine_speed,1/min,0x1010,u8,2\nspark,deg,0x1020,u8,rpm,,,,,\nlone,deg,0x1030,u8,,,,,,\n")
	for pattern, want := range map[string]string{"SPARK": "spark by rpm", "l*": "lone"} {
		d, err := Sheet("tables.csv", "car", file, Options{Only: []string{pattern}})
		if err != nil {
			t.Fatal(err)
		}
		got := d.Tables[0].GetId()
		for _, a := range d.Axes {
			got += " by " + a.GetId()
		}
		if got != want || len(d.Tables) != 1 {
			t.Errorf("--only %s: %s, %d tables; want %s", pattern, got, len(d.Tables), want)
		}
	}
	for pattern, says := range map[string]string{"fuel*": "no table of such a name", "[": "not a pattern"} {
		if _, err := Sheet("tables.csv", "car", file, Options{Only: []string{pattern}}); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("--only %s: %v", pattern, err)
		}
	}
}

// The last byte of the address space is in an image that ends there.
func TestSheetUpToTheLastAddress(t *testing.T) {
	d, err := Sheet("tables.csv", "car", []byte("id,address,type\na,0xffffffff,u8\n"), Options{})
	if im := d.GetImage(); err != nil || im.GetStart() != 0xffffffff || im.GetSize() != 1 {
		t.Errorf("%v, %v", im, err)
	}
}

func TestSheetFaults(t *testing.T) {
	for _, c := range []struct{ name, file, want string }{
		{"empty", "", "tables.csv: there is no table; allowed: a header, and a row for each table"},
		{"no rows", "id,address\n", "tables.csv: there is no table"},
		{"a column", "id,adress\na,1\n", `tables.csv:1: no column is called "adress"; allowed: id, kind, encoding, title`},
		{"a column twice", "id,id\na,1\n", "tables.csv:1: id: it is there twice; allowed: each column once"},
		{"a number", "id,address,type\n\na,twelve,u8\n", `tables.csv:3: address: "twelve" is not a whole number; allowed: a whole number as in 256 or 0x100`},
		{"an address that is too large", "id,address,type\na,0x100000000,u8\n", `tables.csv:2: address: "0x100000000" is too large`},
		{"an octal number", "id,address,type\na,010,u8\n", `tables.csv:2: address: "010" is not a whole number`},
		{"a factor", "id,address,type,factor\na,1,u8,1e400\n", `tables.csv:2: factor: "1e400" is not a number; allowed: a finite number`},
		{"a type", "id,address,type\na,1,u8\nb,2,byte\n", `tables.csv:3: type: table b: "byte" is not a type; allowed: u8, s8`},
		{"no type", "id,address\na,1\n", `tables.csv:2: type: table a: "" is not a type`},
		{"an id twice", "id,address,type\na,1,u8\na,2,u8\n", `tables.csv:3: id: id "a" is already used by tables[0]`},
		{"a byte order", "id,address,type\na,2,u16\n", "tables.csv:2: byte_order: the byte order is missing; allowed: big or little there, or --byte-order"},
		{"an axis's byte order", "id,address,type,x_address,x_type,x_count\na,2,u8,9,u16,2\n", "tables.csv:2: x_byte_order: the byte order is missing"},
		{"an axis and columns", "id,address,type,x_points,columns\na,2,u8,1 2,2\n", "tables.csv:2: columns: both are given; allowed: an axis, or how many cells there are"},
		{"no columns", "id,address,type,columns\na,2,u8,0\n", "tables.csv:2: columns: 0; allowed: 1 to 65536"},
		{"an axis that is another one", "id,address,type,x_axis,x_points\na,2,u8,r,1 2\nb,9,u8,r,1 3\n", `tables.csv:3: x_axis: axis "r" is written otherwise in line 2; allowed: the same columns, or none but its id`},
		{"too many cells", "id,address,type\na,1,u8,,x\n", `tables.csv:2: "x" stands in column 5; allowed: 3 columns, as the header has`},
		{"a quote", "id,title\na,\"b\nc\n", "tables.csv:3: is no CSV: extraneous or missing \" in quoted-field"},
		{"two lines of text", "id,address,type,title\na,1,u8,\"b\nc\"\n", "tables.csv:2: title: \"b\\nc\" is none; allowed: text on one line"},
		{"a point", "id,address,type,x_points\na,1,u8,1 x\n", `tables.csv:2: x_points: "x" is not a number; allowed: numbers with blanks between`},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Sheet("tables.csv", "car", []byte(c.file), Options{})
			var e *yamldoc.Error
			if !errors.As(err, &e) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got  %v\nwant %s", err, c.want)
			}
		})
	}
}

// What is written is read back, and written again as the same rows; what a row cannot say is said.
func TestSheetComesBack(t *testing.T) {
	file, err := os.ReadFile("../../testdata/demo/dx1-1.8t.yaml")
	if err != nil {
		t.Fatal(err)
	}
	demo := &calibrationv1.Definition{}
	if _, err := yamldoc.Decode("demo.yaml", file, demo); err != nil {
		t.Fatal(err)
	}
	for name, d := range map[string]*calibrationv1.Definition{"demo": demo, "hill-climb": hillclimb(t, Options{}).Definition} {
		t.Run(name, func(t *testing.T) {
			rows, said := SheetRows(name, d)
			sheet := csvOf(t, rows)
			back, err := Sheet("tables.csv", d.GetName(), sheet, Options{})
			if err != nil {
				t.Fatalf("%v\n%s", err, sheet)
			}
			again, _ := SheetRows(name, back)
			if got := csvOf(t, again); !bytes.Equal(got, sheet) {
				t.Errorf("got\n%s\nof\n%s", got, sheet)
			}
			left := map[string]bool{}
			for _, s := range said {
				left[s.Object] = true
			}
			tables := map[string]*calibrationv1.Table{}
			for _, table := range back.Tables {
				tables[table.GetId()] = table
			}
			for _, table := range d.Tables {
				if left[table.GetId()] == (tables[table.GetId()] != nil) {
					t.Errorf("table %s: left out %v", table.GetId(), left[table.GetId()])
				}
				if tables[table.GetId()] != nil && !proto.Equal(table, tables[table.GetId()]) {
					t.Errorf("got %v\nof %v", tables[table.GetId()], table)
				}
			}
			if len(back.Tables) < 5 {
				t.Errorf("only %d tables came back; left out: %v", len(back.Tables), said)
			}
		})
	}
}
