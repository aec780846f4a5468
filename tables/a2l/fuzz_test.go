package a2l

import (
	"errors"
	"os"
	"strings"
	"testing"

	"witnessmark/tables/yamldoc"
)

// Whatever a file says, it gives modules or one error on one line that names the file, and never more than it holds.
func FuzzRead(f *testing.F) {
	whole, err := os.ReadFile("../imported/testdata/hillclimb.a2l")
	if err != nil {
		f.Fatal(err)
	}
	for _, seed := range []string{string(whole), "", "/begin", "/begin PROJECT", `/begin PROJECT p "" /begin MODULE m "" /end MODULE /end PROJECT`, "/include x", `/include "../x"`,
		"/begin A2ML /end A2ML", "/begin IF_DATA /begin IF_DATA /end IF_DATA", `"` + "\xff\xfe", "/* */ // x", strings.Repeat("/begin X ", 100), "\xff\xfe/\x00b\x00",
		`/begin MODULE m "" /begin CHARACTERISTIC c "" MAP 0x1 L 1e999 M -0x1 NaN MATRIX_DIM 1 2 3 /begin AXIS_DESCR`, `/begin MODULE m "" /begin COMPU_VTAB v "" TAB_VERB 4294967295 1 "x"`} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		included := 0
		all, err := Read("car.a2l", []byte(text), func(name string) ([]byte, error) {
			if strings.Contains("/"+name+"/", "/../") || strings.HasPrefix(name, "/") {
				t.Fatalf("%q was asked for", name)
			}
			if included++; included > 3 {
				return nil, errors.New("there is no such file")
			}
			return []byte(text), nil
		})
		var e *yamldoc.Error
		if err != nil && (!errors.As(err, &e) || strings.Contains(err.Error(), "\n") || len(err.Error()) > 2000) {
			t.Fatalf("got %q", err)
		}
		for _, m := range all {
			if n := len(m.Characteristics) + len(m.AxisPts) + len(m.Groups) + len(m.Faults); n > 4*len(text) {
				t.Fatalf("%d objects of %d bytes", n, len(text))
			}
		}
	})
}
