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
	"witnessmark/store/signoff"
)

// rule is who may call one method.
type rule struct {
	enrolled bool     // any enrolled person
	roles    []string // one of them is enough
}

// exceptions are the services that state no roles of their own.
var exceptions = map[string]rule{
	"grpc.health.v1.Health":                    {enrolled: true}, // nobody else comes past the handshake
	"grpc.reflection.v1.ServerReflection":      {enrolled: true},
	"grpc.reflection.v1alpha.ServerReflection": {enrolled: true},
}

// resolveAccess finds the rule of every method of every registered service, by full name
// ("/package.Service/Method"). A method without one is an error: the server does not start.
func resolveAccess(services map[string]grpc.ServiceInfo) (map[string]rule, error) {
	rules := map[string]rule{}
	var errs []error
	for name, info := range services {
		exception, excepted := exceptions[name]
		desc, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(name))
		svc, ok := desc.(protoreflect.ServiceDescriptor)
		if !excepted && (err != nil || !ok) {
			errs = append(errs, fmt.Errorf("service %s has no descriptor", name))
			continue
		}
		for _, m := range info.Methods {
			r := exception
			if !excepted {
				if r, err = ruleOf(svc.Methods().ByName(protoreflect.Name(m.Name))); err != nil {
					errs = append(errs, fmt.Errorf("method %s/%s: %w", name, m.Name, err))
				}
			}
			rules["/"+name+"/"+m.Name] = r
		}
	}
	return rules, errors.Join(errs...)
}

func ruleOf(m protoreflect.MethodDescriptor) (r rule, err error) {
	if m == nil {
		return r, errors.New("it is not in its service's descriptor")
	}
	access, ok := proto.GetExtension(m.Options(), servicev1.E_Access).(*servicev1.Access)
	if !ok || len(access.GetAnyOf()) == 0 {
		return r, errors.New("it does not state which roles may call it")
	}
	for _, role := range access.GetAnyOf() {
		if role == recordv1.Role_ROLE_UNSPECIFIED {
			return r, fmt.Errorf("it states role %s, which nobody can hold", role)
		}
		r.roles = append(r.roles, signoff.RoleName(role))
	}
	return r, nil
}

// allows says whether a person may call the method.
func (r rule) allows(p *recordv1.Person) bool {
	return r.enrolled || slices.ContainsFunc(r.roles, func(role string) bool { return slices.Contains(p.GetRoles(), role) })
}

func (r rule) String() string { return strings.Join(r.roles, ", ") }
