package server

import (
	"errors"
	"io"
	"testing"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
	"witnessmark/store/record"
)

// Comparisons for looking find compiled what actions were judged by, and each other's.
func TestCompareCompilesNothingAnew(t *testing.T) {
	b := newBench(t)
	b.released("AB 12 CD")
	compiled := b.srv.core.claims.Compiled()
	if compiled == 0 {
		t.Error("nothing was compiled to judge a submission")
	}
	for range 2 {
		s, err := servicev1.NewComparisonsClient(b.as("technician")).Compare(within(t), &servicev1.CompareRequest{
			BaseSha256: hashOf(demoFile(t, "asfound.bin")), CandidateSha256: hashOf(demoFile(t, "submission-2.bin")),
			DefinitionSha256: b.revision(record.Definitions, definitionName).GetSha256(),
			LimitsSha256:     b.revision(record.Limits, limitsName).GetSha256(),
		})
		if err != nil {
			t.Fatal(err)
		}
		for err == nil {
			_, err = s.Recv()
		}
		if !errors.Is(err, io.EOF) {
			t.Fatal(err)
		}
	}
	if n := b.srv.core.claims.Compiled(); n != compiled {
		t.Errorf("%d files were compiled again", n-compiled)
	}
}
