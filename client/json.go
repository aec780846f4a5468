package client

import (
	"bytes"
	"encoding/json"
	"io"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	calibrationv1 "witnessmark/proto/witnessmark/calibration/v1"
	"witnessmark/tables/printed"
)

// WriteJSON writes a message as protobuf JSON: snake_case, zeros printed, two spaces, a newline at the end.
// protojson varies its spacing from build to build, so it is indented again. Reports are printed's.
func WriteJSON(w io.Writer, m proto.Message) error {
	if r, report := m.(*calibrationv1.Report); report {
		return printed.JSON(w, r)
	}
	raw, err := protojson.MarshalOptions{UseProtoNames: true, EmitDefaultValues: true}.Marshal(m)
	if err != nil {
		return err
	}
	var out bytes.Buffer
	if err := json.Indent(&out, raw, "", "  "); err != nil {
		return err
	}
	out.WriteByte('\n')
	_, err = w.Write(out.Bytes())
	return err
}

// JSON is what WriteJSON writes.
func JSON(m proto.Message) ([]byte, error) {
	var out bytes.Buffer
	err := WriteJSON(&out, m)
	return out.Bytes(), err
}
