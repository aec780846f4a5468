package record

import (
	"maps"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// Brought is bytes that an action brings into the record.
type Brought struct {
	SHA256 string
	What   What
	Image  *recordv1.Image // of an image
}

// What says what brought bytes are.
type What string

// The kinds of bytes.
const (
	AnImage   What = "image"
	AReport   What = "report"
	ARun      What = "run"
	ANoteFile What = "note-file"
	ADocument What = "document" // a definition or limits, which no job has to itself
)

// kind is one kind of action: its name is the body field of Action, its roles stand on its message.
type kind struct {
	name string
	// target is the entry that an action of this kind acts on: one who did not see the newest
	// cannot act by accident.
	target func(s *State, a *recordv1.Action) (uint64, error)
	// decide asks the rules about the action's own fields and the state; the signer, their role and
	// what every action carries were asked before.
	decide func(d *decision) error
	// apply writes the effect. It refuses nothing.
	apply func(c *change)
	// brings lists the bytes that enter the record with it; nil for none.
	brings func(a *recordv1.Action) []Brought
	// closed says that a closed job takes it.
	closed bool
}

// kinds are all that this program knows, by name; made by init, since the rules of some ask for others'.
var kinds = map[string]*kind{}

func init() {
	for _, k := range []*kind{
		enrol, retire,
		addDefinition, addLimits,
		openJob, amendJob, closeJob, reopenJob,
		addRead, voidRead,
		submit, signOff, giveBack, withdraw,
		openCorridor, closeCorridor,
		collect, addReadback,
		addRun, addNote, settle, erase,
	} {
		kinds[k.name] = k
	}
}

// Kinds are the names of all kinds of entries, sorted.
func Kinds() []string {
	names := slices.AppendSeq([]string{"genesis"}, maps.Keys(kinds))
	slices.Sort(names)
	return names
}

// Brings lists the bytes that an action brings into the record, each once.
func Brings(a *recordv1.Action) []Brought {
	k := kinds[signoff.Kind(a)]
	if k == nil || k.brings == nil {
		return nil
	}
	var out []Brought
	seen := map[string]bool{"": true}
	for _, b := range k.brings(a) {
		if !seen[b.SHA256] {
			seen[b.SHA256] = true
			out = append(out, b)
		}
	}
	return out
}

func images(list ...*recordv1.Image) (out []Brought) {
	for _, im := range list {
		out = append(out, Brought{SHA256: im.GetSha256(), What: AnImage, Image: im})
	}
	return out
}

func reports(shas ...string) (out []Brought) {
	for _, sha := range shas {
		out = append(out, Brought{SHA256: sha, What: AReport})
	}
	return out
}

// JobOf is the job that an action names; 0 where it names none, as one that opens a job.
func JobOf(a *recordv1.Action) uint32 {
	if body, field := jobField(a); field != nil {
		return uint32(body.Get(field).Uint())
	}
	return 0
}

func namesJob(a *recordv1.Action) bool {
	_, field := jobField(a)
	return field != nil
}

func jobField(a *recordv1.Action) (protoreflect.Message, protoreflect.FieldDescriptor) {
	inner := body(a)
	if inner == nil {
		return nil, nil
	}
	m := inner.ProtoReflect()
	return m, m.Descriptor().Fields().ByName("job")
}

// body is what an action does; nil where it does nothing.
func body(a *recordv1.Action) proto.Message {
	m := a.ProtoReflect()
	field := m.WhichOneof(m.Descriptor().Oneofs().ByName("body"))
	if field == nil {
		return nil
	}
	return m.Get(field).Message().Interface()
}
