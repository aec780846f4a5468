package main

import (
	"encoding/json"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/structpb"

	"witnessmark/client"
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
	enc := json.NewEncoder(a.out)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", "  ")
	return enc.Encode(v)
}
