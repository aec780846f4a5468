package image

import (
	"bytes"
	"fmt"
)

// Format is the kind of file an image came in.
type Format string

// The kinds of file; the empty Format asks Decode to detect by content.
const (
	Raw  Format = "raw"
	IHex Format = "ihex"
	SRec Format = "srec"
)

// ParseFormat reads the value of --file-format.
func ParseFormat(s string) (Format, error) {
	switch f := Format(s); f {
	case Raw, IHex, SRec:
		return f, nil
	}
	return "", fmt.Errorf("file format %q is not known; allowed: raw, ihex, srec", s)
}

// sniff is how many bytes Detect looks at: enough that a raw image does not look like
// records by chance, few enough that a damaged record further on is still an error of records.
const sniff = 64

// Detect tells the kind of file by its content: a file whose beginning could be records of
// one kind and nothing else is taken for that kind, anything else is raw.
func Detect(file []byte) Format {
	head := bytes.TrimLeft(file, " \t\r\n")
	head = head[:min(len(head), sniff)]
	switch {
	case len(head) >= 2 && head[0] == ':' && only(head, ':'):
		return IHex
	case len(head) >= 2 && head[0] == 'S' && head[1] >= '0' && head[1] <= '9' && only(head, 'S'):
		return SRec
	}
	return Raw
}

// only says whether head holds nothing but hex digits, line ends and mark.
func only(head []byte, mark byte) bool {
	for _, c := range head {
		if _, ok := nibble(c); !ok && c != mark && c != '\r' && c != '\n' {
			return false
		}
	}
	return true
}
