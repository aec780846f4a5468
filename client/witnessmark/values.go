package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"reflect"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"

	"witnessmark/client"
	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/printed"
)

// printValues writes names and values as JSON, for answers that are no message of their own.
func (a *app) printValues(pairs ...any) error {
	m := map[string]any{}
	for i := 0; i+1 < len(pairs); i += 2 {
		m[pairs[i].(string)] = pairs[i+1]
	}
	s, err := structpb.NewStruct(m)
	if err != nil {
		return err
	}
	return client.WriteJSON(a.out, s)
}

// messageJSON is a message as part of a larger answer; null for none.
func messageJSON(m proto.Message) (json.RawMessage, error) {
	if !m.ProtoReflect().IsValid() {
		return nil, nil
	}
	return client.JSON(m)
}

func messagesJSON[M proto.Message](list []M) ([]json.RawMessage, error) {
	out := make([]json.RawMessage, len(list))
	for i, m := range list {
		var err error
		if out[i], err = messageJSON(m); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// printJSON writes an answer that is no message, unless it could not be made.
func (a *app) printJSON(v any, err error) error {
	if err != nil {
		return err
	}
	out := bufio.NewWriter(a.out)
	if err := writeAnswer(out, reflect.ValueOf(v), ""); err != nil {
		return err
	}
	_ = out.WriteByte('\n') // Flush says what failed
	return out.Flush()
}

// writeAnswer writes an answer whose lines but the first begin with at. Reports that are fields of it are printed's, cell by cell:
// they never stand in memory as text.
func writeAnswer(w *bufio.Writer, v reflect.Value, at string) error {
	if r, report := v.Interface().(*calibrationv1.Report); report && r != nil {
		return printed.Part(w, r, at)
	}
	if v.Kind() == reflect.Pointer && !v.IsNil() {
		v = v.Elem()
	}
	if !hasReports(v.Type()) {
		var whole bytes.Buffer
		enc := json.NewEncoder(&whole)
		enc.SetEscapeHTML(false)
		enc.SetIndent(at, "  ")
		if err := enc.Encode(v.Interface()); err != nil {
			return err
		}
		_, err := w.Write(bytes.TrimSuffix(whole.Bytes(), []byte("\n")))
		return err
	}
	open := "{\n"
	for i := range v.NumField() {
		name, omit, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
		if omit != "" && v.Field(i).IsZero() {
			continue
		}
		fmt.Fprintf(w, "%s%s  %q: ", open, at, name)
		if err := writeAnswer(w, v.Field(i), at+"  "); err != nil {
			return err
		}
		open = ",\n"
	}
	_, err := fmt.Fprintf(w, "\n%s}", at)
	return err
}

// hasReports says that fields of a struct are reports. Each of its fields has a name in its tag then.
func hasReports(t reflect.Type) bool {
	if t.Kind() != reflect.Struct {
		return false
	}
	for i := range t.NumField() {
		if t.Field(i).Type == reflect.TypeFor[*calibrationv1.Report]() {
			return true
		}
	}
	return false
}
