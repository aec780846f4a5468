package server

import (
	"crypto/tls"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/descriptorpb"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

// What each role may do is the workshop's rule, written here a second time on purpose.
const (
	rolesAll = "technician calibrator lead"
	rolesTL  = "technician lead"
	rolesCL  = "calibrator lead"
	rolesL   = "lead"
	// Those who were enrolled are told who ended that, on a connection that they had and on a new one.
	outsiders = "retired replaced retired-anew replaced-anew"
	// These do not get past the handshake.
	shut = "unknown no-key rsa ecdsa small-order"
)

// who may call every method that the server registers.
var who = map[string]string{
	"/witnessmark.service.v1.Record/Admit":                           rolesAll,
	"/witnessmark.service.v1.Record/Head":                            rolesAll,
	"/witnessmark.service.v1.Record/Entries":                         rolesAll,
	"/witnessmark.service.v1.Record/Watch":                           rolesAll,
	"/witnessmark.service.v1.Blobs/Download":                         rolesAll,
	"/witnessmark.service.v1.Jobs/Get":                               rolesAll,
	"/witnessmark.service.v1.Jobs/List":                              rolesAll,
	"/witnessmark.service.v1.Catalog/Get":                            rolesAll,
	"/witnessmark.service.v1.Catalog/List":                           rolesAll,
	"/witnessmark.service.v1.People/Get":                             rolesAll,
	"/witnessmark.service.v1.People/List":                            rolesAll,
	"/witnessmark.service.v1.Comparisons/Compare":                    rolesAll,
	"/witnessmark.service.v1.Admin/Condition":                        rolesAll,
	"/witnessmark.service.v1.Admin/Backup":                           rolesL,
	"/grpc.health.v1.Health/Check":                                   rolesAll,
	"/grpc.health.v1.Health/List":                                    rolesAll,
	"/grpc.health.v1.Health/Watch":                                   rolesAll,
	"/grpc.reflection.v1.ServerReflection/ServerReflectionInfo":      rolesAll,
	"/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo": rolesAll,
}

// whoSigns may sign every kind of action.
var whoSigns = map[string]string{
	"enrol": rolesL, "retire": rolesL, "definition": rolesL, "limits": rolesL, "settle": rolesL, "erase": rolesL, "corridor": rolesL,
	"job": rolesTL, "amend": rolesTL, "close": rolesTL, "reopen": rolesTL, "read": rolesTL, "void": rolesTL,
	"collect": rolesTL, "read_back": rolesTL, "run": rolesTL, "corridor_close": rolesTL,
	"submission": rolesCL, "sign_off": rolesCL, "withdraw": rolesCL,
	"return": rolesAll, "note": rolesAll,
}

// callers are connections of everybody that there can be, by what they are. Those who were enrolled have one from
// when they were, and a new one.
func (w *workshop) callers() map[string]*grpc.ClientConn {
	w.Helper()
	w.enrol("retired", "technician", "calibrator", "lead")
	w.enrol("replaced", "technician", "calibrator", "lead")
	server, addr := publicOf(w.srv.home.key), w.srv.Addr()
	with := func(certs ...tls.Certificate) *grpc.ClientConn {
		config := clientTLS(w.TB, w.keys["lead"], server)
		config.Certificates = certs
		return dialWith(w.TB, addr, config)
	}
	out := map[string]*grpc.ClientConn{
		"no-key": with(), "rsa": with(rsaCertificate(w.TB)), "ecdsa": with(ecdsaCertificate(w.TB)), "small-order": with(smallOrderCertificate(w.TB)),
		"unknown": w.as("unknown"), "expired": with(expiredCertificate(w.TB, w.keys["lead"])),
	}
	for name := range strings.FieldsSeq(rolesAll + " retired replaced") {
		out[name] = w.as(name)
		if _, err := servicev1.NewRecordClient(out[name]).Head(within(w), &servicev1.HeadRequest{}); err != nil {
			w.Fatalf("%s: %v", name, err)
		}
	}
	w.must("lead", retireAction("retired"))
	w.must("lead", enrolAction("replaced", testKey("replaced's new key"), "technician"))
	for _, name := range []string{"retired", "replaced"} {
		out[name+"-anew"] = dial(w.TB, addr, w.keys[name], server)
	}
	return out
}

// TestEveryMethodByEverybody calls every registered method as everybody, over the network. A method without a row
// fails, and so does a row without a method. What a certificate says about itself, its dates too, means nothing.
func TestEveryMethodByEverybody(t *testing.T) { onBoth(t, testEveryMethodByEverybody) }

func testEveryMethodByEverybody(t *testing.T, p Place) {
	w := staffedIn(t, p)
	callers := w.callers()
	if want := len(strings.Fields(rolesAll + " expired " + outsiders + " " + shut)); len(callers) != want {
		t.Fatalf("%d callers, want %d", len(callers), want)
	}
	seen := map[string]bool{}
	calls := 0
	for service, info := range w.srv.grpc.GetServiceInfo() {
		for _, m := range info.Methods {
			full := "/" + service + "/" + m.Name
			seen[full] = true
			may, ok := who[full]
			if !ok {
				t.Errorf("%s has no row: say who may call it", full)
				continue
			}
			for name, conn := range callers {
				calls++
				as := name
				if name == "expired" {
					as = "lead"
				}
				wantAccess(t, full, name, slices.Contains(strings.Fields(may), as), callEmpty(t, conn, full, m))
			}
		}
	}
	for full := range who {
		if !seen[full] {
			t.Errorf("%s has a row and is not served", full)
		}
	}
	t.Logf("%d calls", calls)
}

// wantAccess checks that somebody was let in, or refused for who they are.
func wantAccess(t *testing.T, what, name string, may bool, err error) {
	t.Helper()
	reason, code := faultOf(err).GetReason(), status.Code(err)
	switch {
	case may:
		if reason == "role" || reason == "not-enrolled" || code == codes.Internal || code == codes.Unimplemented || code == codes.Unavailable {
			t.Errorf("%s as %s: %v, want to be let in", what, name, err)
		}
	case slices.Contains(strings.Fields(shut), name):
		if code != codes.Unavailable || !strings.Contains(err.Error(), "tls: ") {
			t.Errorf("%s as %s: %v, want to be refused in the handshake", what, name, err)
		}
	case slices.Contains(strings.Fields(outsiders), name):
		if code != codes.Unauthenticated || reason != "not-enrolled" || !strings.Contains(err.Error(), "by lead at ") {
			t.Errorf("%s as %s: %v, want not-enrolled, and who ended it", what, name, err)
		}
	case code != codes.PermissionDenied || reason != "role":
		t.Errorf("%s as %s: %s %q, want role", what, name, code, reason)
	}
}

// callEmpty sends one empty message and takes the first answer.
func callEmpty(t *testing.T, conn *grpc.ClientConn, full string, m grpc.MethodInfo) error {
	t.Helper()
	req, resp := &servicev1.HeadRequest{}, &servicev1.HeadRequest{} // empty on the wire, as any message may be
	if !m.IsClientStream && !m.IsServerStream {
		return conn.Invoke(within(t), full, req, resp)
	}
	stream, err := conn.NewStream(within(t), &grpc.StreamDesc{ClientStreams: m.IsClientStream, ServerStreams: true}, full)
	if err != nil {
		return err
	}
	_ = stream.SendMsg(req)
	_ = stream.CloseSend()
	if err := stream.RecvMsg(resp); !errors.Is(err, io.EOF) {
		return err
	}
	return nil
}

// TestEveryKindByEveryRole brings every kind of action that there is by everybody: the role is asked
// before whatever else would be wrong with it.
func TestEveryKindByEveryRole(t *testing.T) { onBoth(t, testEveryKindByEveryRole) }

func testEveryKindByEveryRole(t *testing.T, p Place) {
	w := staffedIn(t, p)
	body := (&recordv1.Action{}).ProtoReflect().Descriptor().Oneofs().ByName("body").Fields()
	if body.Len() != len(whoSigns) {
		t.Errorf("there are %d kinds of action, and %d rows", body.Len(), len(whoSigns))
	}
	for i := range body.Len() {
		field := body.Get(i)
		may, ok := whoSigns[string(field.Name())]
		if !ok {
			t.Errorf("%s has no row: say who may sign it", field.Name())
			continue
		}
		for name := range strings.FieldsSeq(rolesAll) {
			a := &recordv1.Action{}
			inner := a.ProtoReflect().Mutable(field).Message()
			if f := inner.Descriptor().Fields().ByName("image_sha256"); f != nil { // a statement's subject
				inner.Set(f, protoreflect.ValueOfString(hashOf(nil)))
			}
			err := w.try(name, a)
			if err == nil {
				t.Errorf("an empty %s went in", field.Name())
			}
			wantAccess(t, string(field.Name()), name, slices.Contains(strings.Fields(may), name), err)
		}
	}
	if w.size() != 3 {
		t.Errorf("%d entries, want 3", w.size())
	}
}

// TestMethodWithoutAccess: a method that states no roles, or a role that nobody can hold, is
// refused before the server starts.
func TestMethodWithoutAccess(t *testing.T) {
	options := &descriptorpb.MethodOptions{}
	proto.SetExtension(options, servicev1.E_Access, &servicev1.Access{AnyOf: []recordv1.Role{recordv1.Role_ROLE_UNSPECIFIED}})
	file, err := protodesc.NewFile(&descriptorpb.FileDescriptorProto{
		Name: new("bare.proto"), Package: new("bare"), Syntax: new("proto3"),
		MessageType: []*descriptorpb.DescriptorProto{{Name: new("M")}},
		Service: []*descriptorpb.ServiceDescriptorProto{{Name: new("S"), Method: []*descriptorpb.MethodDescriptorProto{
			{Name: new("Bare"), InputType: new(".bare.M"), OutputType: new(".bare.M")},
			{Name: new("Nobody"), InputType: new(".bare.M"), OutputType: new(".bare.M"), Options: options},
		}}},
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i, say := range []string{"does not state", "nobody can hold"} {
		if _, err := ruleOf(file.Services().Get(0).Methods().Get(i)); err == nil || !strings.Contains(err.Error(), say) {
			t.Errorf("method %d: %v, want %q", i, err, say)
		}
	}
	for service, say := range map[string]string{"nowhere.S": "has no descriptor", "witnessmark.service.v1.Jobs": "not in its service's descriptor"} {
		_, err := resolveAccess(map[string]grpc.ServiceInfo{service: {Methods: []grpc.MethodInfo{{Name: "M"}}}})
		if err == nil || !strings.Contains(err.Error(), say) {
			t.Errorf("%s: %v, want %q", service, err, say)
		}
	}
}

// TestMethodWithoutRule: what has no rule is let in for nobody, even if it is served.
func TestMethodWithoutRule(t *testing.T) {
	w := newWorkshop(t)
	w.stop()
	w.start()
	delete(w.srv.gate.rules, "/witnessmark.service.v1.Record/Head") // before anybody calls
	_, err := servicev1.NewRecordClient(w.as("lead")).Head(within(t), &servicev1.HeadRequest{})
	wantFault(t, err, codes.PermissionDenied, "no-rule")
}
