package server

import (
	"errors"
	"io"
	"strings"
	"testing"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/reflect/protodesc"
	"google.golang.org/protobuf/types/descriptorpb"

	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

// T, C and L are the three roles; a row names those that may call a method. What each role
// may do is the workshop's rule, written here a second time on purpose.
const (
	rolesT   = "technician"
	rolesAll = "technician calibrator lead"
	rolesTL  = "technician lead"
	rolesCL  = "calibrator lead"
	rolesL   = "lead"
	anyKey   = "technician calibrator lead retired stranger"
)

// who holds every method that the server registers.
var who = map[string]struct{ may, action string }{
	"/witnessmark.service.v1.Jobs/Open":                              {rolesTL, "job"},
	"/witnessmark.service.v1.Jobs/Get":                               {rolesAll, ""},
	"/witnessmark.service.v1.Jobs/List":                              {rolesAll, ""},
	"/witnessmark.service.v1.Jobs/AddRead":                           {rolesTL, "read"},
	"/witnessmark.service.v1.Jobs/Submit":                            {rolesCL, "submission"},
	"/witnessmark.service.v1.Jobs/Sign":                              {rolesCL, "sign_off"},
	"/witnessmark.service.v1.Jobs/Return":                            {rolesAll, "return"},
	"/witnessmark.service.v1.Jobs/Withdraw":                          {rolesCL, "withdraw"},
	"/witnessmark.service.v1.Jobs/Collect":                           {rolesTL, "collect"},
	"/witnessmark.service.v1.Jobs/AddReadback":                       {rolesTL, "read_back"},
	"/witnessmark.service.v1.Jobs/AddRun":                            {rolesTL, "run"},
	"/witnessmark.service.v1.Jobs/History":                           {rolesAll, ""},
	"/witnessmark.service.v1.Comparisons/Compare":                    {rolesAll, ""},
	"/witnessmark.service.v1.Comparisons/GetReport":                  {rolesAll, ""},
	"/witnessmark.service.v1.Catalog/AddDefinition":                  {rolesL, "definition"},
	"/witnessmark.service.v1.Catalog/GetDefinition":                  {rolesAll, ""},
	"/witnessmark.service.v1.Catalog/ListDefinitions":                {rolesAll, ""},
	"/witnessmark.service.v1.Catalog/AddLimits":                      {rolesL, "limits"},
	"/witnessmark.service.v1.Catalog/GetLimits":                      {rolesAll, ""},
	"/witnessmark.service.v1.Catalog/ListLimits":                     {rolesAll, ""},
	"/witnessmark.service.v1.People/WhoAmI":                          {rolesAll, ""},
	"/witnessmark.service.v1.People/Enrol":                           {rolesL, "enrol"},
	"/witnessmark.service.v1.People/Retire":                          {rolesL, "retire"},
	"/witnessmark.service.v1.People/List":                            {rolesAll, ""},
	"/witnessmark.service.v1.Blobs/Upload":                           {rolesAll, ""},
	"/witnessmark.service.v1.Blobs/Download":                         {rolesAll, ""},
	"/witnessmark.service.v1.Ledger/GetGenesis":                      {rolesAll, ""},
	"/witnessmark.service.v1.Ledger/GetCheckpoint":                   {rolesAll, ""},
	"/witnessmark.service.v1.Ledger/ListEntries":                     {rolesAll, ""},
	"/witnessmark.service.v1.Ledger/ProveInclusion":                  {rolesAll, ""},
	"/witnessmark.service.v1.Ledger/ProveConsistency":                {rolesAll, ""},
	"/witnessmark.service.v1.Ledger/Watch":                           {rolesAll, ""},
	"/witnessmark.service.v1.Admin/Backup":                           {rolesL, ""},
	"/grpc.health.v1.Health/Check":                                   {anyKey, ""},
	"/grpc.health.v1.Health/List":                                    {anyKey, ""},
	"/grpc.health.v1.Health/Watch":                                   {anyKey, ""},
	"/grpc.reflection.v1.ServerReflection/ServerReflectionInfo":      {rolesAll, ""},
	"/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo": {rolesAll, ""},
}

// TestEveryMethodByEveryRole calls every registered method as everybody, over the network.
// A method without a row fails, and so does a row without a method.
func TestEveryMethodByEveryRole(t *testing.T) {
	w := staffed(t)
	w.enrol("retired", "technician", "calibrator", "lead")
	w.must("lead", retireAction("retired"))
	conns := map[string]*grpc.ClientConn{}
	for _, name := range strings.Fields(anyKey) {
		conns[name] = w.as(name)
	}
	seen := map[string]bool{}
	for service, info := range w.srv.grpc.GetServiceInfo() {
		for _, m := range info.Methods {
			full := "/" + service + "/" + m.Name
			seen[full] = true
			row, ok := who[full]
			if !ok {
				t.Errorf("%s has no row: say who may call it", full)
				continue
			}
			rules, err := resolveAccess(w.srv.grpc.GetServiceInfo())
			if err != nil {
				t.Fatal(err)
			}
			if rules[full].action != row.action {
				t.Errorf("%s takes action %q, want %q", full, rules[full].action, row.action)
			}
			for name, conn := range conns {
				may := strings.Contains(" "+row.may+" ", " "+name+" ")
				err := callEmpty(t, conn, full, m)
				reason := faultOf(err).GetReason()
				switch code := status.Code(err); {
				case may && (code == codes.PermissionDenied || code == codes.Unauthenticated || code == codes.Internal || code == codes.Unimplemented):
					t.Errorf("%s as %s: %v, want to be let in", full, name, err)
				case !may && (name == "retired" || name == "stranger") && (code != codes.Unauthenticated || reason != "not-enrolled"):
					t.Errorf("%s as %s: %s %q, want not-enrolled", full, name, code, reason)
				case !may && name != "retired" && name != "stranger" && (code != codes.PermissionDenied || reason != "role"):
					t.Errorf("%s as %s: %s %q, want role", full, name, code, reason)
				}
			}
		}
	}
	for full := range who {
		if !seen[full] {
			t.Errorf("%s has a row and is not served", full)
		}
	}
}

// callEmpty sends one empty message and takes the first answer.
func callEmpty(t *testing.T, conn *grpc.ClientConn, full string, m grpc.MethodInfo) error {
	t.Helper()
	req, resp := &servicev1.WhoAmIRequest{}, &servicev1.WhoAmIRequest{} // empty on the wire, as any message may be
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

// TestMethodWithoutAccess: a method that states no roles, or a role that nobody can hold, is
// refused before the server starts.
func TestMethodWithoutAccess(t *testing.T) {
	file, err := protodesc.NewFile(&descriptorpb.FileDescriptorProto{
		Name: proto1("bare.proto"), Package: proto1("bare"), Syntax: proto1("proto3"),
		MessageType: []*descriptorpb.DescriptorProto{{Name: proto1("M")}},
		Service: []*descriptorpb.ServiceDescriptorProto{{Name: proto1("S"), Method: []*descriptorpb.MethodDescriptorProto{
			{Name: proto1("Bare"), InputType: proto1(".bare.M"), OutputType: proto1(".bare.M")},
		}}},
	}, nil)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := ruleOf(file.Services().Get(0).Methods().Get(0)); err == nil {
		t.Error("a method without roles was accepted")
	}
	_, err = resolveAccess(map[string]grpc.ServiceInfo{"nowhere.S": {Methods: []grpc.MethodInfo{{Name: "M"}}}})
	if err == nil {
		t.Error("a service without a descriptor was accepted")
	}
}

func proto1(s string) *string { return &s }
