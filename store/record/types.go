package record

import (
	"slices"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

const lead = recordv1.Role_ROLE_LEAD

// Roles are all there are, in the order in which they are always shown.
var Roles = []recordv1.Role{recordv1.Role_ROLE_TECHNICIAN, recordv1.Role_ROLE_CALIBRATOR, recordv1.Role_ROLE_LEAD}

func roleNames(roles []recordv1.Role) []string {
	words := make([]string, len(roles))
	for i, r := range roles {
		words[i] = signoff.RoleName(r)
	}
	return words
}

func contains(list []string, word string) bool { return slices.Contains(list, word) }
