package record

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// TestVoidedAsIfNeverRead: one history has a read and, later, its voiding; another has in their places
// two entries about nothing. Whatever happens before and after, both refuse and let pass the same, and
// their documents are the same but for: the two entries' own events, requests, texts and files, what
// hashes of entries are in (head, requests), and the voided read in its job's list of reads. Between the
// two nothing looks at that car, and after them its job is read no more, since reads are numbered on.
func TestVoidedAsIfNeverRead(t *testing.T) {
	r := newRand(t)
	voided, after := 0, 0
	for round := 0; voided < 8; round++ {
		w := newWanderer(t, r)
		other := &wanderer{Rand: r, h: newHistory(t, look(w.h, func(s *State) bool { return s.Genesis().GetOnePerson() })).script(manyPeople)}
		both := func(line string) bool {
			one, two := w.h.try(line, nil), other.h.try(line, nil)
			var a, b *Refusal
			if errors.As(one, &a) != errors.As(two, &b) || a != nil && a.Reason != b.Reason {
				t.Fatalf("%s: %v, without the read %v", line, one, two)
			}
			return one == nil
		}
		for range 25 {
			both(w.line())
		}
		job := w.someJob()
		n, number := job.GetNumber(), len(job.GetReads())+1
		if w.h.try(fmt.Sprintf("L reads %d voided%s frame=VOIDED1", n, pick(w, "", " differs")), nil) != nil {
			continue
		}
		if found := AsFound(job) == nil; found {
			t.Logf("job %d: the voided read was the one as found", n)
		}
		other.h.script("L enrols Nobody1 technician")
		for range w.IntN(3) {
			both("L limits l " + w.token("L"))
		}
		w.h.script(fmt.Sprintf("L voids %d %d", n, number))
		other.h.script("L enrols Nobody2 technician")
		voided++
		for range 25 {
			line := w.line()
			numbered := strings.Contains(line, fmt.Sprintf(" reads %d ", n)) || strings.Contains(line, fmt.Sprintf(" voids %d ", n))
			if !numbered && both(line) {
				after++
			}
		}
		if d := differ(withoutTraces(t, w.h, n, number), withoutTraces(t, other.h, n, 0)); d != "" {
			t.Fatalf("with the voided read %d of job %d, against without:\n%s", number, n, d)
		}
		replays(t, w.h)
	}
	if after < 50 {
		t.Errorf("only %d entries came after", after)
	}
}

// withoutTraces is the documents without what TestVoidedAsIfNeverRead takes out; read 0 is none.
func withoutTraces(t *testing.T, h *history, job uint32, read int) map[string]string {
	docs := documents(t, h.engine)
	gone := map[string]bool{sha("voided"): true, sha("report"): true} // in keys: images, commitments, indexes of entries
	for i, told := range h.told[1:] {
		o := &oracle{genesis: &recordv1.Genesis{}}
		o.add(t, told.GetEntry())
		a := o.facts[0]
		if strings.HasPrefix(a.GetEnrol().GetName(), "Nobody") || a.GetRead().GetImage().GetSha256() == sha("voided") || a.GetVoid().GetRead() == uint32(read) && a.GetVoid().GetJob() == job {
			gone[fmt.Sprintf(" %010d ", i+1)] = true
			for _, o := range told.GetOpenings() {
				gone[o.GetCommitment()] = true
			}
		}
	}
	for key, value := range docs {
		kind, _, _ := strings.Cut(key, " ")
		listed := kind == docListing || kind == docMark || kind == docWait // made of the job and its texts alone
		drop := listed || kind == docHead || kind == docRequest || kind == docPerson && strings.Contains(value, "Nobody") || kind == docKey && strings.Contains(value, "Nobody")
		for part := range gone {
			drop = drop || strings.Contains(key+" ", part)
		}
		if drop {
			delete(docs, key)
		} else if kind == docJob && read > 0 && strings.HasSuffix(key, fmt.Sprintf("%010d", job)) {
			j := &recordv1.Job{}
			if err := proto.Unmarshal([]byte(value), j); err != nil {
				t.Fatal(err)
			}
			j.Reads = j.GetReads()[:read-1]
			b, err := proto.MarshalOptions{Deterministic: true}.Marshal(j)
			if err != nil {
				t.Fatal(err)
			}
			docs[key] = string(b)
		}
	}
	return docs
}
