package image

// Intel HEX record types.
const (
	hexData           = 0
	hexEnd            = 1
	hexSegmentBase    = 2
	hexSegmentedStart = 3
	hexLinearBase     = 4
	hexLinearStart    = 5
)

// ihexState is what extended address records set: a later one, of either kind, replaces the earlier.
type ihexState struct {
	reader
	base      uint64
	segmented bool
	start     *Start
	seen      map[bool]bool // kinds of start address, by whether it is segmented
}

func decodeIHex(name string, file []byte) (*File, error) {
	s := &ihexState{reader: reader{name: name, rest: file}, seen: map[bool]bool{}}
	if err := s.all(s.record, ":00000001FF"); err != nil {
		return nil, err
	}
	return s.file(IHex, s.start)
}

// record takes one line; end says that it was the end record.
func (s *ihexState) record(line []byte) (end bool, err error) {
	if line[0] != ':' {
		return false, s.errorf("an Intel HEX record begins with ':', this line with %q", string(rune(line[0])))
	}
	b, err := s.hex(line[1:], 1)
	if err != nil {
		return false, err
	}
	if len(b) < 5 {
		return false, s.errorf("truncated record: %d bytes; the shortest has 5 (length, address, type, checksum)", len(b))
	}
	if int(b[0]) != len(b)-5 {
		return false, s.errorf("the length field says %d data bytes, the record holds %d", b[0], len(b)-5)
	}
	var sum byte
	for _, x := range b[:len(b)-1] {
		sum += x
	}
	if got, want := b[len(b)-1], -sum; got != want {
		return false, s.errorf("wrong checksum: the record says %02X, its bytes give %02X", got, want)
	}
	return s.meaning(b[3], uint64(b[1])<<8|uint64(b[2]), b[4:len(b)-1])
}

// sizes of the data of record types other than 00.
var ihexSizes = map[byte]int{hexEnd: 0, hexSegmentBase: 2, hexSegmentedStart: 4, hexLinearBase: 2, hexLinearStart: 4}

func (s *ihexState) meaning(kind byte, offset uint64, data []byte) (end bool, err error) {
	if kind == hexData {
		return false, s.data(offset, data)
	}
	size, known := ihexSizes[kind]
	switch {
	case !known:
		return false, s.errorf("record type %02X; allowed: 00 01 02 03 04 05", kind)
	case len(data) != size:
		return false, s.errorf("record type %02X holds %d data bytes; it must hold %d", kind, len(data), size)
	case offset != 0:
		return false, s.errorf("record type %02X has the address %04X; it must be 0000", kind, offset)
	}
	value := uint64(0)
	for _, b := range data {
		value = value<<8 | uint64(b)
	}
	switch kind {
	case hexEnd:
		return true, nil
	case hexSegmentBase:
		s.base, s.segmented = value<<4, true
	case hexLinearBase:
		s.base, s.segmented = value<<16, false
	case hexSegmentedStart, hexLinearStart:
		segmented := kind == hexSegmentedStart
		if s.seen[segmented] {
			return false, s.errorf("a second start address of type %02X; a file has at most one of each", kind)
		}
		s.seen[segmented] = true
		if s.start == nil || !segmented { // the linear one says more
			s.start = &Start{Segmented: segmented, Address: uint32(value)}
		}
	}
	return false, nil
}

// data places the bytes: in segment mode the offset wraps inside its 64 KiB, in linear mode
// addresses go on.
func (s *ihexState) data(offset uint64, data []byte) error {
	if room := 0x10000 - offset; s.segmented && uint64(len(data)) > room {
		if err := s.add(s.base+offset, data[:room]); err != nil {
			return err
		}
		return s.add(s.base, data[room:])
	}
	return s.add(s.base+offset, data)
}

func (f *File) encodeIHex() []byte {
	var out []byte
	record := func(kind byte, offset uint16, data ...byte) {
		var sum byte
		out = append(out, ':')
		out = appendHex(out, &sum, byte(len(data)), byte(offset>>8), byte(offset), kind)
		out = appendHex(out, &sum, data...)
		out = appendHex(out, new(byte), -sum)
		out = append(out, '\n')
	}
	base := uint64(0)
	f.split(func(address uint64, data []byte) {
		if address>>16 != base {
			base = address >> 16
			record(hexLinearBase, 0, byte(base>>8), byte(base))
		}
		record(hexData, uint16(address), data...)
	})
	if f.Start != nil {
		kind, a := byte(hexLinearStart), f.Start.Address
		if f.Start.Segmented {
			kind = hexSegmentedStart
		}
		record(kind, 0, byte(a>>24), byte(a>>16), byte(a>>8), byte(a))
	}
	record(hexEnd, 0)
	return out
}
