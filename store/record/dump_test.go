package record

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store"
	"witnessmark/store/memory"
)

// documents is every document of an engine, by kind and key, and the sum of all.
func documents(t tb, engine store.Engine) map[string]string {
	t.Helper()
	out := map[string]string{}
	err := engine.View(func(tx store.ReadTx) error {
		if err := store.CheckSum(tx); err != nil {
			return err
		}
		return tx.Documents(func(kind, key string, value []byte) (bool, error) {
			out[kind+" "+strings.ReplaceAll(key, "\x00", " ")] = string(value)
			return true, nil
		})
	})
	if err != nil {
		t.Fatalf("documents: %v", err)
	}
	return out
}

// differ says where two sets of documents differ; empty where they do not.
func differ(got, want map[string]string) string {
	var b strings.Builder
	for key, value := range got {
		if was, ok := want[key]; !ok {
			fmt.Fprintf(&b, "%s: should not be there\n", key)
		} else if was != value {
			fmt.Fprintf(&b, "%s: %s\nwant %s\n", key, readable(key, value), readable(key, was))
		}
	}
	for key, value := range want {
		if _, ok := got[key]; !ok {
			fmt.Fprintf(&b, "%s: lacks %s\n", key, readable(key, value))
		}
	}
	return b.String()
}

// messages are the documents that hold one.
var messages = map[string]proto.Message{
	docHead: &recordv1.Head{}, docGenesis: &recordv1.Genesis{}, docPerson: &recordv1.Person{}, docKey: &recordv1.Key{},
	docRevision: &recordv1.CatalogFile{}, docNewest: &recordv1.CatalogFile{}, docFile: &recordv1.CatalogFile{}, docJob: &recordv1.Job{},
	docEvent: &recordv1.CarEvent{}, docAlarm: &recordv1.Alarm{}, docRequest: &recordv1.Request{}, docImage: &recordv1.Image{}, docOpening: &recordv1.Opening{},
}

// readable is a document as JSON, on one line.
func readable(key, value string) json.RawMessage {
	kind, _, _ := strings.Cut(key, " ")
	m, ok := messages[kind]
	if kind == docMark {
		value = fmt.Sprintf("%x", value)
	}
	if !ok {
		text, _ := json.Marshal(strings.ReplaceAll(value, "\x00", " "))
		return text
	}
	m = proto.Clone(m)
	if err := proto.Unmarshal([]byte(value), m); err != nil {
		return json.RawMessage(fmt.Sprintf("%q", err))
	}
	text, err := protojson.MarshalOptions{UseProtoNames: true}.Marshal(m)
	if err != nil {
		return json.RawMessage(fmt.Sprintf("%q", err))
	}
	var out bytes.Buffer
	if err := json.Compact(&out, text); err != nil { // protojson varies its spacing
		return json.RawMessage(fmt.Sprintf("%q", err))
	}
	return out.Bytes()
}

// dump is all documents as JSON whose bytes depend on nothing else.
func dump(t tb, engine store.Engine) string {
	t.Helper()
	out := map[string]json.RawMessage{}
	for key, value := range documents(t, engine) {
		out[key] = readable(key, value)
	}
	text, err := json.MarshalIndent(out, "", " ")
	if err != nil {
		t.Fatalf("dump: %v", err)
	}
	return string(text) + "\n"
}

// handedOn is all entries with what openings are left.
func (h *history) handedOn() (out []*recordv1.Told) {
	h.t.Helper()
	err := h.engine.View(func(tx store.ReadTx) error {
		for i := range h.told {
			told, err := Told(tx, uint64(i))
			if err != nil {
				return err
			}
			out = append(out, told)
		}
		return nil
	})
	if err != nil {
		h.t.Fatalf("hand on: %v", err)
	}
	return out
}

// replays checks that the entries, with the openings that are left, give the same documents, whether
// admitted at once or one by one, and that the documents made again on the spot do.
func replays(t tb, h *history) {
	t.Helper()
	want, told := documents(t, h.engine), h.handedOn()
	together, apart := memory.New(), memory.New()
	if err := admit(together, h.blobs, told...); err != nil {
		t.Fatalf("replay: %v", err)
	}
	for i, one := range told {
		if err := admit(apart, h.blobs, one); err != nil {
			t.Fatalf("replay entry %d: %v", i, err)
		}
	}
	before := blobsOf(t, h.engine)
	if err := h.engine.Update(func(w store.WriteTx) error { _, err := Rebuild(w); return err }); err != nil {
		t.Fatalf("rebuild: %v", err)
	}
	for how, engine := range map[string]store.Engine{"in one transaction": together, "one by one": apart, "rebuilt": h.engine} {
		if d := differ(documents(t, engine), want); d != "" {
			t.Fatalf("%s:\n%s", how, d)
		}
	}
	if got := fmt.Sprint(blobsOf(t, h.engine)); got != fmt.Sprint(before) {
		t.Fatalf("rebuilding changed the blobs: %s, want %s", got, before)
	}
}

func blobsOf(t tb, engine store.Engine) (out []string) {
	t.Helper()
	err := engine.View(func(tx store.ReadTx) error {
		return tx.Blobs(func(sha string, _ []byte) (bool, error) { out = append(out, sha); return true, nil })
	})
	if err != nil {
		t.Fatalf("blobs: %v", err)
	}
	return out
}

// refusalOf wants an error to be a refusal.
func refusalOf(t testing.TB, err error) *Refusal {
	t.Helper()
	var r *Refusal
	if !errors.As(err, &r) {
		t.Fatalf("got %v, want a refusal", err)
	}
	return r
}

// plainOf is what an envelope says, its payload as the JSON that it is.
func plainOf(envelope []byte) string {
	var e struct {
		Payload []byte
	}
	if json.Unmarshal(envelope, &e) != nil {
		return string(envelope)
	}
	return string(envelope) + string(e.Payload)
}
