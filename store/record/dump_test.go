package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"sort"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// dump prints all that a state says, as JSON whose bytes depend on nothing else.
func dump(s *State) string {
	d := map[string]any{
		"genesis":        raw(s.Genesis),
		"genesis_sha256": s.GenesisSHA256,
		"size":           s.Size,
		"unknown":        s.Unknown,
		"server_key":     signoff.FormatPublicKey(s.ServerKey()),
		"people":         raws(s.People()),
		"definitions":    raws(s.Documents("definition")),
		"limits":         raws(s.Documents("limits")),
		"jobs":           raws(s.Jobs()),
	}
	var roots, plates []string
	for _, r := range s.Roots {
		roots = append(roots, hexHash(r))
	}
	d["roots"] = roots
	for p := range s.plates {
		plates = append(plates, p)
	}
	sort.Strings(plates)
	var cars []*recordv1.CarHistory
	for _, p := range plates {
		cars = append(cars, s.CarHistory(p))
	}
	d["cars"] = raws(cars)
	requests := map[string]string{}
	for id, r := range s.requests {
		requests[id] = r.sha256
	}
	d["requests"] = requests
	out, err := json.MarshalIndent(d, "", "  ")
	if err != nil {
		panic(err)
	}
	return string(out) + "\n"
}

func raw(m proto.Message) json.RawMessage {
	b, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m)
	if err != nil {
		panic(err)
	}
	var out bytes.Buffer
	if err := json.Compact(&out, b); err != nil {
		panic(err)
	}
	return out.Bytes()
}

func raws[M proto.Message](ms []M) []json.RawMessage {
	out := []json.RawMessage{}
	for _, m := range ms {
		out = append(out, raw(m))
	}
	return out
}

// refusalOf wants an error to be a refusal.
func refusalOf(t *testing.T, err error) *Refusal {
	t.Helper()
	var r *Refusal
	if !errors.As(err, &r) {
		t.Fatalf("got %v, want a refusal", err)
	}
	return r
}
