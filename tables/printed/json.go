package printed

import (
	"bytes"
	"cmp"
	"encoding/json"
	"io"
	"math"
	"strconv"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/structpb"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/changed"
)

// indent is what each level of JSON is set in by.
const indent = "  "

// JSON writes a report as protobuf JSON with a newline at its end: snake_case, zeros printed, two spaces a level, and each changed
// cell an object in the changes of its table. The error names columns that do not fit each other, or is that of w.
func JSON(w io.Writer, r *calibrationv1.Report) error {
	p := newPrinter(w)
	p.report(r, "")
	p.text = append(p.text, '\n')
	p.flush()
	return p.err
}

// Part writes a report as JSON does, within a larger text: each line but the first begins with prefix, and no newline ends it.
func Part(w io.Writer, r *calibrationv1.Report, prefix string) error {
	p := newPrinter(w)
	p.report(r, prefix)
	p.flush()
	return p.err
}

type printer struct {
	out
	numbers *Numbers
	words   words
	raw     []byte       // of a message, and
	spaced  bytes.Buffer // the same indented
	fields  *fields      // of changed cells
	at      string       // how far they are set in
}

func newPrinter(w io.Writer) *printer {
	p := &printer{out: out{w: w}, numbers: NumbersBy(appendNumber)}
	p.words.write = func(s string) string { return string(p.indented(structpb.NewStringValue(s), "")) }
	return p
}

// report writes a report list by list, and those item by item.
func (p *printer) report(r *calibrationv1.Report, at string) {
	m := r.ProtoReflect()
	p.frame(m, at, func(name string) bool {
		items := m.Get(m.Descriptor().Fields().ByName(protoreflect.Name(name))).List()
		return p.list(items.Len(), at+indent, func(i int) {
			switch item := items.Get(i).Message().Interface().(type) {
			case *calibrationv1.TableReport:
				p.table(item, at+indent+indent)
			default:
				p.message(item, at+indent+indent)
			}
		})
	})
}

// table writes a table's report, whose changes are its changed cells.
func (p *printer) table(t *calibrationv1.TableReport, at string) {
	cells, err := changed.Of(t)
	if err != nil {
		p.err = err
		return
	}
	m := t.ProtoReflect()
	p.frame(m, at, func(name string) bool {
		if name == "changes" {
			return p.cells(cells, at+indent)
		}
		items := m.Get(m.Descriptor().Fields().ByName(protoreflect.Name(name))).List()
		return p.list(items.Len(), at+indent, func(i int) { p.message(items.Get(i).Message().Interface(), at+indent+indent) })
	})
}

// frame writes a message whose lists of messages are written by list, which is told their names and says whether it wrote
// anything: an empty one is not its affair.
func (p *printer) frame(m protoreflect.Message, at string, list func(name string) bool) {
	rest := m.New()
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		if (!f.IsList() || f.Message() == nil) && f.Name() != "changed_cells" {
			rest.Set(f, v)
		}
		return true
	})
	text := bytes.Clone(p.indented(rest.Interface(), at))
	for len(text) > 0 && p.err == nil {
		line := text[:bytes.IndexByte(text, '\n')+1]
		if len(line) == 0 {
			line = text
		}
		text = text[len(line):]
		if name, ends, empty := emptyList(line, at+indent); empty {
			p.text = append(p.text, line[:len(line)-len(ends)-len("[]")]...)
			if !list(name) {
				p.text = append(p.text, "[]"...)
			}
			line = []byte(ends)
		}
		p.text = append(p.text, line...)
	}
}

// emptyList says that a line of a message that is set in by so much is an empty list, how it is called, and what ends the line.
func emptyList(line []byte, at string) (name, ends string, empty bool) {
	if !bytes.Contains(line, []byte(`": []`)) { // as most
		return "", "", false
	}
	s, ours := strings.CutPrefix(string(line), at+`"`)
	name, ends, empty = strings.Cut(s, `": []`)
	return name, ends, ours && empty && strings.Trim(ends, ",\n") == "" && !strings.Contains(name, `"`)
}

// list writes n items between brackets; of none nothing, and then it answers false.
func (p *printer) list(n int, at string, item func(i int)) bool {
	open := "[\n" + at + indent
	for i := range n {
		if !p.pass() {
			break
		}
		p.text = append(p.text, open...)
		item(i)
		open = ",\n" + at + indent
	}
	if n > 0 {
		p.text = append(p.text, "\n"+at+"]"...)
	}
	return n > 0
}

// message writes any message, whole.
func (p *printer) message(m proto.Message, at string) { p.text = append(p.text, p.indented(m, at)...) }

// indented is a message's text, good until the next one's. protojson varies its own spacing from build to build.
func (p *printer) indented(m proto.Message, at string) []byte {
	var err error
	p.spaced.Reset()
	if p.raw, err = (protojson.MarshalOptions{UseProtoNames: true, EmitDefaultValues: true}).MarshalAppend(p.raw[:0], m); err == nil {
		err = json.Indent(&p.spaced, p.raw, at, indent)
	}
	p.err = cmp.Or(p.err, err)
	return p.spaced.Bytes()
}

// appendNumber is a number as protobuf JSON has it.
func appendNumber(text []byte, v float64) []byte {
	abs := math.Abs(v)
	switch {
	case math.IsNaN(v):
		return append(text, `"NaN"`...)
	case math.IsInf(v, 1):
		return append(text, `"Infinity"`...)
	case math.IsInf(v, -1):
		return append(text, `"-Infinity"`...)
	case abs == 0 || abs >= 1e-6 && abs < 1e21:
		return strconv.AppendFloat(text, v, 'f', -1, 64)
	}
	text = strconv.AppendFloat(text, v, 'e', -1, 64)
	if n := len(text); n >= 4 && string(text[n-4:n-1]) == "e-0" { // one digit of an exponent is enough
		text = append(text[:n-2], text[n-1])
	}
	return text
}
