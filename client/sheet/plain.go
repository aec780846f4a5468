package sheet

import (
	"strings"
	"unicode"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// Sealed is a sealed text as it is shown: on one line, and "erased" where it was erased.
func Sealed(t *recordv1.Text) string {
	if t.GetErased() {
		return "erased"
	}
	return strings.Join(strings.Fields(plainText(t.GetText())), " ")
}

// plainText takes out what could steer a terminal: images, notes and limits are other people's words.
func plainText(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' || unicode.IsPrint(r) {
			return r
		}
		return '�'
	}, s)
}

// plainReport is a copy of a report with plain text in every field.
func plainReport(r *calibrationv1.Report) *calibrationv1.Report {
	c := proto.CloneOf(r)
	plainMessage(c.ProtoReflect())
	return c
}

func plainMessage(m protoreflect.Message) {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch {
		case f.IsMap():
			// Maps of a report hold numbers.
		case f.IsList() && f.Kind() == protoreflect.MessageKind:
			for i := range v.List().Len() {
				plainMessage(v.List().Get(i).Message())
			}
		case f.IsList() && f.Kind() == protoreflect.StringKind:
			for i := range v.List().Len() {
				v.List().Set(i, protoreflect.ValueOfString(plainText(v.List().Get(i).String())))
			}
		case f.Kind() == protoreflect.MessageKind && !f.IsList():
			plainMessage(v.Message())
		case f.Kind() == protoreflect.StringKind:
			m.Set(f, protoreflect.ValueOfString(plainText(v.String())))
		}
		return true
	})
}
