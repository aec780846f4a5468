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

// ParseFormat reads the word by which a message names a kind of file.
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

// Detect tells the kind of file by its content: text whose first line begins like a record is
// taken for that kind of record file, so that damage in it is an error and not a raw image.
func Detect(file []byte) Format {
	head := bytes.TrimLeft(file, " \t\r\n")
	head = head[:min(len(head), sniff)]
	switch {
	case !text(head):
		return Raw
	case len(head) >= 3 && head[0] == ':' && hexPair(head[1:]):
		return IHex
	case len(head) >= 4 && head[0] == 'S' && head[1] >= '0' && head[1] <= '9' && hexPair(head[2:]):
		return SRec
	}
	return Raw
}

// text says whether head is printable ASCII in lines.
func text(head []byte) bool {
	for _, c := range head {
		if (c < ' ' || c > '~') && c != '\t' && c != '\r' && c != '\n' {
			return false
		}
	}
	return true
}

func hexPair(b []byte) bool {
	_, hi := nibble(b[0])
	_, lo := nibble(b[1])
	return hi && lo
}
