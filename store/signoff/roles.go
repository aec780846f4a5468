package signoff

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

const rolePrefix = "ROLE_"

// RolesOf is the roles that may sign a kind of action, as its message states them; none for what is
// no kind.
func RolesOf(kind string) []recordv1.Role {
	field := bodyOneof.Fields().ByName(protoreflect.Name(kind))
	if field == nil {
		return nil
	}
	return proto.GetExtension(field.Message().Options(), recordv1.E_Roles).(*recordv1.Roles).GetAnyOf()
}

// RoleName is a role as people write it: technician, calibrator or lead.
func RoleName(r recordv1.Role) string {
	return strings.ToLower(strings.TrimPrefix(r.String(), rolePrefix))
}

// ParseRole is the role of a name; any other name is ErrForm.
func ParseRole(name string) (recordv1.Role, error) {
	r, ok := recordv1.Role_value[rolePrefix+strings.ToUpper(name)]
	if role := recordv1.Role(r); ok && role != recordv1.Role_ROLE_UNSPECIFIED && RoleName(role) == name {
		return role, nil
	}
	return 0, fmt.Errorf("role %q: technician, calibrator and lead are allowed: %w", clip(name), ErrForm)
}
