package record

import (
	"encoding/binary"
	"maps"
	"slices"
	"strings"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
	"witnessmark/tables/severity"
)

// A job is listed by what it is and says. A mark is shared by many jobs: its documents have a bit for
// each, so that lists are found by reading a few of them. All are made of the job as Finish writes it,
// with the texts that are there then: what was amended or erased finds nothing any more.

// What marks are about.
const (
	markState      = "state"
	markDefinition = "definition"
	markPerson     = "person"     // did something in it; folded
	markSubmission = "submission" // state and verdict of one
	markWorst      = "worst"      // verdict of what waits or is released
	markOpened     = "opened"     // day, UTC, by the server's clock
	markWord       = "word"
	markBegin      = "begin" // of a word, which many have in common: its first letters
)

// begins is how many letters at most of a word are a mark of their own: what begins with so few may be
// many words, which a list shall not have to look at.
const begins = 3

// block is how many jobs share a document.
const (
	block      = 256
	blockBytes = block / 8
)

// listing is what a job is listed by, sorted: the kind of the documents, and their keys, of a mark without the block.
func listing(j *recordv1.Job, texts []Said) (out []string) {
	mark := func(parts ...any) { out = append(out, docMark+"\x00"+join(parts...)) }
	mark(markState, j.GetState())
	mark(markDefinition, j.GetDefinition().GetName())
	if at := j.GetOpened().GetAdmittedAt(); len(at) >= len("2006-01-02") {
		mark(markOpened, at[:len("2006-01-02")])
	}
	walk(j.ProtoReflect(), func(e *recordv1.Event) { mark(markPerson, signoff.FoldName(e.GetPerson())) })
	standing := ""
	for _, sub := range j.GetSubmissions() {
		mark(markSubmission, sub.GetState(), Verdict(sub))
		if waits := sub.GetState() == Waiting || IsRelease(sub); waits && (standing == "" || severity.Worse(severity.Of(Verdict(sub)), severity.Of(standing))) {
			standing = Verdict(sub)
		}
	}
	mark(markWorst, standing)
	for _, said := range texts {
		for _, word := range said.words() {
			mark(markWord, word)
			for n := range begins {
				mark(markBegin, first(word, n+1))
			}
		}
	}
	for _, w := range WaitsOf(j) {
		out = append(out, docWait+"\x00"+w.key())
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// first is the first n letters of a word, or the word.
func first(word string, n int) string {
	for i := range word {
		if n--; n < 0 {
			return word[:i]
		}
	}
	return word
}

// relist brings up to date what changed jobs are listed by; it writes each document once.
func (s *State) relist(jobs []uint32) {
	blocks := map[string][]byte{}
	for _, n := range jobs {
		text, _ := s.text(docListing, join(n))
		was, now := strings.Split(text, "\n"), listing(s.jobs[n], s.Texts(n))
		for _, line := range was {
			if _, still := slices.BinarySearch(now, line); !still && line != "" {
				s.relistOne(blocks, n, line, false)
			}
		}
		for _, line := range now {
			if _, before := slices.BinarySearch(was, line); !before {
				s.relistOne(blocks, n, line, true)
			}
		}
		if list := strings.Join(now, "\n"); list != text {
			s.putText(docListing, join(n), list)
		}
	}
	for _, key := range slices.Sorted(maps.Keys(blocks)) {
		if b := blocks[key]; string(b) == string(make([]byte, blockBytes)) {
			s.drop(docMark, key)
		} else {
			s.putBytes(docMark, key, b)
		}
	}
}

func (s *State) relistOne(blocks map[string][]byte, n uint32, line string, in bool) {
	kind, key, _ := strings.Cut(line, "\x00")
	switch {
	case kind == docWait && in:
		s.putText(docWait, key, "")
	case kind == docWait:
		s.drop(docWait, key)
	default:
		key = join(key, n/block)
		if blocks[key] == nil {
			b, _ := s.document(docMark, key)
			blocks[key] = append(make([]byte, 0, blockBytes), b...)
			blocks[key] = append(blocks[key], make([]byte, blockBytes-len(b))...)
		}
		at, bit := n%block/8, byte(1)<<(n%8)
		blocks[key][at] &^= bit
		if in {
			blocks[key][at] |= bit
		}
	}
}

// jobSet has a bit for each job, by number.
type jobSet []uint64

func (s *State) noJobs() jobSet { return make(jobSet, (s.head.GetJobs()/block+1)*block/64) }

func (set jobSet) add(n uint32) { set[n/64] |= 1 << (n % 64) }

// mark adds the jobs of all marks from one key to another, which is not included.
func (s *State) mark(set jobSet, from, to string) {
	s.scan(docMark, "", from, func(key string, b []byte) bool {
		if key >= to || len(b) != blockBytes {
			return false
		}
		at := number(key[len(key)-10:]) * block / 64
		for i := 0; i < blockBytes && int(at) < len(set); i, at = i+8, at+1 {
			set[at] |= binary.LittleEndian.Uint64(b[i:])
		}
		return true
	})
}

// marked are the jobs whose mark begins with these parts.
func (s *State) marked(parts ...any) jobSet {
	set := s.noJobs()
	s.mark(set, under(parts...), join(parts...)+"\x01")
	return set
}

func (set jobSet) join(other jobSet) jobSet {
	for i := range set {
		set[i] |= other[i]
	}
	return set
}

func (set jobSet) meet(other jobSet) {
	for i := range set {
		set[i] &= other[i]
	}
}
