package signoff

import recordv1 "witnessmark/proto/witnessmark/record/v1"

// Preview is the exact bytes that Seal would sign for an action, so that a person can read them
// first: the action's JSON, or the statement around it.
func Preview(a *recordv1.Action) ([]byte, error) {
	_, payload, err := encodePayload(a)
	return payload, err
}
