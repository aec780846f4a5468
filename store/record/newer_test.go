package record

import (
	"crypto/ed25519"
	"encoding/base64"
	"fmt"

	"witnessmark/store/signoff"
)

// newerEntry is a well signed entry of a kind that is not known yet. The envelope is made here by
// hand (DSSE, protocol.md: "DSSEv1", then type and payload, each after its length), since Seal
// writes only what it knows.
func newerEntry(h *history) []byte {
	payload := fmt.Sprintf(`{"genesis":%q,"request_id":"newer","acts_on":%q,"seen":{"size":1,"root":%q},"time":%q,"polish":{}}`,
		h.s.GenesisSHA256, h.s.leaf(0), hexHash(h.s.Roots[1]), at(1))
	pae := fmt.Sprintf("DSSEv1 %d %s %d %s", len(signoff.ActionType), signoff.ActionType, len(payload), payload)
	b64 := base64.StdEncoding.EncodeToString
	envelope := fmt.Sprintf(`{"payloadType":%q,"payload":%q,"signatures":[{"keyid":%q,"sig":%q}]}`,
		signoff.ActionType, b64([]byte(payload)), signoff.Fingerprint(pub("L")), b64(ed25519.Sign(keyOf("L"), []byte(pae))))
	return MakeEntry([]byte(envelope), at(1))
}
