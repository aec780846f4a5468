package signoff_test

import (
	"errors"
	"testing"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// TestPreviewIsWhatIsSigned: what a person reads before signing is the payload, byte for byte.
func TestPreviewIsWhatIsSigned(t *testing.T) {
	for _, a := range []*recordv1.Action{collectAction(), signOffAction(), returnAction()} {
		got, err := signoff.Preview(a)
		if err != nil || string(got) != payloadOf(t, seal(t, a)) {
			t.Errorf("preview %s, %v", got, err)
		}
	}
	if _, err := signoff.Preview(header()); !errors.Is(err, signoff.ErrForm) {
		t.Errorf("an action without a body: %v", err)
	}
}
