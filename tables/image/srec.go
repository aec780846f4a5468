package image

// addressBytes is the size of the address field of each S-record type; S4 is reserved.
var addressBytes = [10]int{2, 2, 3, 4, 0, 2, 3, 4, 3, 2}

// srecState counts the data records for S5 and S6.
type srecState struct {
	reader
	records uint64
	start   *Start
}

func decodeSRec(name string, file []byte) (*File, error) {
	s := &srecState{reader: reader{name: name, rest: file}}
	if err := s.all(s.record, "S7, S8 or S9"); err != nil {
		return nil, err
	}
	return s.file(SRec, s.start)
}

// record takes one line; end says that it was the end record.
func (s *srecState) record(line []byte) (end bool, err error) {
	if line[0] != 'S' || len(line) < 2 || line[1] < '0' || line[1] > '9' {
		return false, s.errorf("an S-record begins with S0 to S9, this line with %q", string(line[:min(2, len(line))]))
	}
	kind := line[1] - '0'
	if kind == 4 {
		return false, s.errorf("record type S4 is reserved; allowed: S0 S1 S2 S3 S5 S6 S7 S8 S9")
	}
	b, err := s.hex(line[2:], 2)
	if err != nil {
		return false, err
	}
	width := addressBytes[kind]
	if len(b) < width+2 {
		return false, s.errorf("truncated record: %d bytes; the shortest S%d has %d (count, address, checksum)", len(b), kind, width+2)
	}
	if int(b[0]) != len(b)-1 {
		return false, s.errorf("the count field says %d bytes, %d follow it", b[0], len(b)-1)
	}
	var sum byte
	for _, x := range b[:len(b)-1] {
		sum += x
	}
	if got, want := b[len(b)-1], ^sum; got != want {
		return false, s.errorf("wrong checksum: the record says %02X, its bytes give %02X", got, want)
	}
	address := uint64(0)
	for _, x := range b[1 : 1+width] {
		address = address<<8 | uint64(x)
	}
	return s.meaning(kind, address, b[1+width:len(b)-1])
}

func (s *srecState) meaning(kind byte, address uint64, data []byte) (end bool, err error) {
	if kind >= 5 && len(data) > 0 {
		return false, s.errorf("record type S%d holds %d data bytes; it must hold none", kind, len(data))
	}
	switch kind {
	case 1, 2, 3:
		s.records++
		return false, s.add(address, data)
	case 5, 6:
		if address != s.records {
			return false, s.errorf("the count record says %d data records, %d came before it", address, s.records)
		}
	case 7, 8, 9:
		// Zero is what writers put where there is no start address.
		if address != 0 {
			s.start = &Start{Address: uint32(address)}
		}
		return true, nil
	}
	return false, nil // S0, the header: text for people
}

func (f *File) encodeSRec() []byte {
	var out []byte
	record := func(kind byte, address uint64, data []byte) {
		var sum byte
		width := addressBytes[kind]
		out = append(out, 'S', '0'+kind)
		out = appendHex(out, &sum, byte(width+len(data)+1))
		for i := width - 1; i >= 0; i-- {
			out = appendHex(out, &sum, byte(address>>(8*i)))
		}
		out = appendHex(out, &sum, data...)
		out = appendHex(out, new(byte), ^sum)
		out = append(out, '\n')
	}
	highest, start := f.Segments[len(f.Segments)-1].End()-1, uint64(0)
	if f.Start != nil {
		start = uint64(f.Start.Linear())
		highest = max(highest, start)
	}
	kind, count := byte(3), uint64(0)
	switch {
	case highest <= 0xFFFF:
		kind = 1
	case highest <= 0xFFFFFF:
		kind = 2
	}
	record(0, 0, []byte("HDR"))
	f.split(func(address uint64, data []byte) {
		record(kind, address, data)
		count++
	})
	switch { // more than S6 can say: the count is optional
	case count <= 0xFFFF:
		record(5, count, nil)
	case count <= 0xFFFFFF:
		record(6, count, nil)
	}
	record(10-kind, start, nil)
	return out
}
