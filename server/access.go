package server

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	servicev1 "witnessmark/proto/witnessmark/service/v1"
)

// rule is who may call one method.
type rule struct {
	anyone   bool     // nobody has to be enrolled
	enrolled bool     // any enrolled person
	roles    []string // one of them is enough
	action   string   // the kind of signed action that the method takes
}

// exceptions are the services that state no roles of their own.
var exceptions = map[string]rule{
	"grpc.health.v1.Health":                    {anyone: true},
	"grpc.reflection.v1.ServerReflection":      {enrolled: true},
	"grpc.reflection.v1alpha.ServerReflection": {enrolled: true},
}

var roleNames = map[servicev1.Role]string{
	servicev1.Role_ROLE_TECHNICIAN: "technician",
	servicev1.Role_ROLE_CALIBRATOR: "calibrator",
	servicev1.Role_ROLE_LEAD:       "lead",
}

// resolveAccess finds the rule of every method of every registered service, by full name
// ("/package.Service/Method"). A method without one is an error: the server does not start.
func resolveAccess(services map[string]grpc.ServiceInfo) (map[string]rule, error) {
	rules := map[string]rule{}
	var errs []error
	for name, info := range services {
		if r, ok := exceptions[name]; ok {
			for _, m := range info.Methods {
				rules["/"+name+"/"+m.Name] = r
			}
			continue
		}
		desc, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(name))
		svc, ok := desc.(protoreflect.ServiceDescriptor)
		if err != nil || !ok {
			errs = append(errs, fmt.Errorf("service %s has no descriptor", name))
			continue
		}
		for _, m := range info.Methods {
			full := "/" + name + "/" + m.Name
			r, err := ruleOf(svc.Methods().ByName(protoreflect.Name(m.Name)))
			if err != nil {
				errs = append(errs, fmt.Errorf("method %s: %w", full, err))
				continue
			}
			rules[full] = r
		}
	}
	return rules, errors.Join(errs...)
}

func ruleOf(m protoreflect.MethodDescriptor) (rule, error) {
	if m == nil {
		return rule{}, errors.New("it is not in its service's descriptor")
	}
	access, ok := proto.GetExtension(m.Options(), servicev1.E_Access).(*servicev1.Access)
	if !ok || len(access.GetAnyOf()) == 0 {
		return rule{}, errors.New("it does not state which roles may call it")
	}
	r := rule{action: access.GetAction()}
	for _, role := range access.GetAnyOf() {
		name, ok := roleNames[role]
		if !ok {
			return rule{}, fmt.Errorf("it states role %s, which nobody can hold", role)
		}
		r.roles = append(r.roles, name)
	}
	if r.action != "" {
		body := (&recordv1.Action{}).ProtoReflect().Descriptor().Fields().ByName(protoreflect.Name(r.action))
		if body == nil || body.ContainingOneof() == nil {
			return rule{}, fmt.Errorf("it takes action %q, which is no kind of action", r.action)
		}
	}
	return r, nil
}

// allows says whether a person may call the method.
func (r rule) allows(p *recordv1.Person) bool {
	if r.anyone || r.enrolled {
		return true
	}
	return slices.ContainsFunc(r.roles, func(role string) bool { return slices.Contains(p.GetRoles(), role) })
}

func (r rule) String() string { return strings.Join(r.roles, ", ") }
