package record

import (
	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

var retire = &kind{
	name: "retire",
	// the last entry about that name
	target: func(s *State, a *recordv1.Action) (uint64, error) {
		p, err := s.personNamed("retire.name", a.GetRetire().GetName())
		return uint64(p.GetLatest()), err
	},
	decide: func(d *decision) error {
		name := d.action.GetRetire().GetName()
		p, err := d.personNamed("retire.name", name)
		if err != nil {
			return err
		}
		if p.GetRetired() {
			return refuse(ReasonNoChange, "retire.name", "", "retire.name: %s was retired already", name)
		}
		if has(p, lead) && d.leads() == 1 {
			return refuse(ReasonLastLead, "retire.name", signoff.RoleName(lead), "retire.name: %s is the last lead and cannot be retired; enrol another lead first", name)
		}
		return nil
	},
	apply: func(c *change) {
		p, _ := c.Person(c.action.GetRetire().GetName())
		p.Latest, p.Retired, p.Compromised = uint32(c.entry), true, c.action.GetRetire().GetCompromised()
		c.putPerson(p)
		if p.GetCompromised() {
			c.voidSignatures(p.GetKeyId())
		}
	},
}
