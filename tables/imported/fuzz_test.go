package imported

import (
	"errors"
	"os"
	"strings"
	"testing"

	"witnessmark/tables/a2l"
	"witnessmark/tables/definition"
	"witnessmark/tables/limits"
	"witnessmark/tables/surface"
	"witnessmark/tables/yamldoc"
	"witnessmark/tables/yamlout"
)

// Whatever a description says, what is imported of it loads, its limits fit it, and it can be read out of any image.
func FuzzImport(f *testing.F) {
	whole, err := os.ReadFile("testdata/hillclimb.a2l")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(string(whole))
	for _, c := range semantics {
		f.Add("/begin MODULE m \"\" " + common + c.text + layouts + " /end MODULE")
	}
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) > 64<<10 {
			return
		}
		all, err := a2l.Read("car.a2l", []byte(text), none)
		if err != nil {
			return
		}
		for _, m := range all {
			r, err := A2L(m, Options{ByteOrder: "big"})
			if err != nil {
				if strings.Contains(err.Error(), "\n") {
					t.Fatalf("got %q", err)
				}
				continue
			}
			file := yamlout.Write(r.Definition)
			lay, err := definition.Load("car.yaml", file)
			if err != nil {
				t.Fatalf("%v\n%s", err, file)
			}
			img := make([]byte, lay.Size)
			for _, table := range lay.Tables {
				surface.Decode(table, img)
			}
			if len(r.Limits.GetRules()) == 0 {
				continue
			}
			lim, err := limits.Load("car.limits.yaml", yamlout.Write(r.Limits))
			if err == nil {
				err = lim.Check(lay)
			}
			if err != nil {
				t.Fatalf("%v\n%s", err, yamlout.Write(r.Limits))
			}
		}
	})
}

// Whatever a spreadsheet says, it is refused on one line or what comes out loads, and comes back as itself.
func FuzzSheet(f *testing.F) {
	for _, seed := range []string{"id,address,type\na,1,u8\n", "id;address;type;byte_order;factor;x_axis;x_address;x_type;x_count\na;16;u16;big;0,5;r;0x20;u8;3\nb;32;s8;;;r;;;\n",
		"id,address,type,rows,columns\na,0x10,u8,3,4\n", "id,kind,encoding,address,length\nt,text,ascii,0x10,8\n", "id\n'=1\n", "\ufeffid\taddress\ttype\na\t1\tu8\n"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		d, err := Sheet("tables.csv", "car", []byte(text), Options{ByteOrder: "little"})
		var e *yamldoc.Error
		if err != nil {
			if !errors.As(err, &e) || strings.Contains(err.Error(), "\n") {
				t.Fatalf("got %q", err)
			}
			return
		}
		if _, err := definition.Load("car.yaml", yamlout.Write(d)); err != nil {
			t.Fatalf("%v\n%s", err, yamlout.Write(d))
		}
		rows, said := SheetRows("car", d)
		if len(said) > 0 {
			t.Fatalf("what came from rows does not go into rows: %v", said)
		}
		sheet := csvOf(t, rows)
		back, err := Sheet("back.csv", "car", sheet, Options{ByteOrder: "little"})
		if err != nil {
			t.Fatalf("%v\n%s", err, sheet)
		}
		if again, _ := SheetRows("car", back); string(csvOf(t, again)) != string(sheet) {
			t.Fatalf("got\n%s\nof\n%s", csvOf(t, again), sheet)
		}
	})
}
