package image

import (
	"strings"
	"testing"
)

// The endings are those that Wikipedia's articles on Intel HEX and SREC and the makers of such files
// give; from memory.
func TestFormatByEnding(t *testing.T) {
	for path, want := range map[string]Format{
		"a.bin": Raw, "a.BIN": Raw, "a.rom": Raw, "a.hex": IHex, "a.Hex": IHex, "a.ihex": IHex, "a.h86": IHex, "a.mcs": IHex,
		"a.s19": SRec, "a.s28": SRec, "a.S37": SRec, "a.srec": SRec, "a.mot": SRec, "dir.hex/a.bin": Raw, `c:\dir.hex\a.s19`: SRec,
		"a": "", "a.": "", "a.txt": "", "a.hex.bak": "", "dir.hex/a": "", `c:\dir.hex\a`: "", ".hex": IHex, "hex": "", "": "", "a.s": "", "a.csv": "",
	} {
		if got := FormatByEnding(path); got != want {
			t.Errorf("%q: %q, want %q", path, got, want)
		}
	}
}

func TestFormatNamed(t *testing.T) {
	for name, want := range map[string]Format{"bin": Raw, "hex": IHex, "s19": SRec, "raw": Raw, "ihex": IHex, "srec": SRec, "HEX": IHex} {
		if got, err := FormatNamed(name); got != want || err != nil {
			t.Errorf("%q: %q, %v", name, got, err)
		}
	}
	for _, name := range []string{"", "tape", ".hex", "hex ", strings.Repeat("x", 1000)} {
		if got, err := FormatNamed(name); err == nil || got != "" || !strings.Contains(err.Error(), "bin, hex, s19") || len(err.Error()) > 200 {
			t.Errorf("%.20q: %q, %v", name, got, err)
		}
	}
}

// Each kind's own ending says that kind, and so does the word by which the ledger names it.
func TestEndings(t *testing.T) {
	for _, f := range []Format{Raw, IHex, SRec} {
		if got := FormatByEnding("x." + EndingOf(f)); got != f {
			t.Errorf("%s: %s", f, got)
		}
		if got, err := FormatNamed(string(f)); got != f || err != nil {
			t.Errorf("%s: %s, %v", f, got, err)
		}
	}
}
