package image

import (
	"fmt"
	"strings"
)

// endings are those that files of each kind usually have.
var endings = map[string]Format{
	"bin": Raw, "raw": Raw, "rom": Raw, "img": Raw,
	"hex": IHex, "ihex": IHex, "ihx": IHex, "ihe": IHex, "h80": IHex, "h86": IHex, "mcs": IHex,
	"s19": SRec, "s28": SRec, "s37": SRec, "s1": SRec, "s2": SRec, "s3": SRec, "sx": SRec, "srec": SRec, "srecord": SRec, "mot": SRec, "mxt": SRec, "exo": SRec,
}

// EndingOf is the ending that files of a kind get here, without its dot.
func EndingOf(f Format) string {
	switch f {
	case IHex:
		return "hex"
	case SRec:
		return "s19"
	}
	return "bin"
}

// FormatByEnding is the kind of file that a file's ending says, whatever its case; empty where it says none.
func FormatByEnding(path string) Format {
	// Either system's folders end a name: the ending of "a.hex/b" is none.
	name := path[strings.LastIndexAny(path, `/\`)+1:]
	if dot := strings.LastIndexByte(name, '.'); dot >= 0 {
		return endings[strings.ToLower(name[dot+1:])]
	}
	return ""
}

// FormatNamed is the kind of file that a person names by one of its endings.
func FormatNamed(ending string) (Format, error) {
	if f := endings[strings.ToLower(ending)]; f != "" {
		return f, nil
	}
	return "", fmt.Errorf("file format %.40q is not known; allowed: bin, hex, s19, or another ending of such files", ending)
}
