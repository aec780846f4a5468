package main

import (
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
	b, err := client.JSON(s)
	if err != nil {
		return err
	}
	_, err = a.out.Write(b)
	return err
}
