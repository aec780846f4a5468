package record

import (
	"strings"
	"testing"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
	"witnessmark/store/signoff"
)

// duties says who may do what, as the project's rules for roles give it: one column a role.
const duties = `
	                             technician calibrator lead
	X enrols N technician        no         no         yes
	X retires D                  no         no         yes
	X defines d D2               no         no         yes
	X limits l L2                no         no         yes
	X opens AB-2                 yes        no         yes
	X amends 1 AB-2              yes        no         yes
	X closes 1 done              yes        no         yes
	X reopens 7                  yes        no         yes
	X reads 1 again              yes        no         yes
	X voids 8 1                  yes        no         yes
	X runs 1 before              yes        no         yes
	X collects 1.1               yes        no         yes
	X collects 1.0               yes        no         yes
	X reads-back 1.1 first       yes        no         yes
	X cannot-read 1.1            yes        no         yes
	X notes 1 hello              yes        yes        yes
	X submits 1 next             no         yes        yes
	X withdraws 1.2              no         yes        yes
	X signs 2.1                  no         yes        yes
	X signs 3.1                  no         yes        yes
	X signs 4.1                  no         yes        yes
	X signs 5.1                  no         no         yes
	X signs 6.1                  no         no         no
	X returns 2.1                yes        yes        yes
	X returns 1.1                yes        yes        yes
	X settles 1 run-danger 1.run1  no       no         yes
	X opens-corridor 8 C         no         no         yes
	X closes-corridor 9 1        yes        no         yes
	X submits 9 next             no         yes        yes
	X collects 9.1               yes        no         yes
	X signs 9.1                  no         no         yes
	X returns 9.1                yes        yes        yes
	X erases 7                   no         no         yes
	T opens AB-2 fuel=E85 fuels=98-RON   no  no no`

// ready is a ledger in which most of that can be done: 1.1 was collected, 1.2 is X's own and
// waits, and 2.1 to 6.1 wait with every verdict there is.
const ready = staff + `
	L enrols X calibrator
	T opens AB-1
	T reads 1 found
	C submits 1 first
	L signs 1.1
	T collects 1.1
	X submits 1 second
	T opens V-2
	T reads 2 two
	C submits 2 first verdict=clear
	T opens V-3
	T reads 3 three
	C submits 3 first verdict=notice
	T opens V-4
	T reads 4 four
	C submits 4 first verdict=caution
	T opens V-5
	T reads 5 five
	C submits 5 first warn=a
	T opens V-6
	T reads 6 six
	C submits 6 first verdict=danger
`

// moreReady has 9.1 released by a corridor.
const moreReady = `
	T opens V-7
	T closes 7 done
	T opens V-8
	T reads 8 eight
	T opens V-9
	T reads 9 nine
	L opens-corridor 9 C
	C submits 9 first
	T runs 1 after danger`

func TestEveryRoleAndKind(t *testing.T) {
	lines := strings.Split(strings.TrimSpace(duties), "\n")
	names := roleNames(Roles)
	for set := 1; set < 1<<len(names); set++ {
		var roles []string
		for i, name := range names {
			if set>>i&1 == 1 {
				roles = append(roles, name)
			}
		}
		h := newHistory(t, false).script(ready + moreReady)
		if strings.Join(roles, "+") != "calibrator" {
			h.script("L enrols X " + strings.Join(roles, "+"))
		}
		for _, line := range lines[1:] {
			f := strings.Fields(line)
			n := len(f) - len(names)
			what, may := strings.Join(f[:n], " "), false
			for i, role := range names {
				may = may || f[n+i] == "yes" && contains(roles, role)
			}
			told := h.tell(what, nil)
			err := look(h, func(s *State) error { _, err := Judge(s, told.GetEntry()); return err })
			if may && err != nil {
				t.Errorf("%v: %s: %v, want it admitted", roles, what, err)
			}
			if !may {
				want := ReasonRole
				switch {
				case strings.Contains(what, "6.1") && (contains(roles, "calibrator") || contains(roles, "lead")):
					want = ReasonDanger
				case strings.Contains(what, "fuels="):
					want = ReasonFuel
				}
				if r := refusalOf(t, err); r.Reason != want {
					t.Errorf("%v: %s: refused for %s (%v), want %s", roles, what, r.Reason, r, want)
				}
			}
		}
	}
}

// TestEveryKindIsComplete: each kind of the .proto has its rules here and its line in the table, which
// says what its message's roles say; and no kind is here alone.
func TestEveryKindIsComplete(t *testing.T) {
	h := newHistory(t, false).script(ready + moreReady)
	table := map[string]string{}
	for _, line := range strings.Split(strings.TrimSpace(duties), "\n")[1:] {
		f := strings.Fields(line)
		n := len(f) - len(Roles)
		h.tell(strings.Join(f[:n], " "), func(a *recordv1.Action) {
			if _, first := table[kindOf(a)]; first { // the first line of a kind is its plain case
				return
			}
			var may []string
			for i, r := range roleNames(Roles) {
				if f[n+i] == "yes" {
					may = append(may, r)
				}
			}
			table[kindOf(a)] = strings.Join(may, " ")
		})
	}
	fields := (&recordv1.Action{}).ProtoReflect().Descriptor().Oneofs().ByName("body").Fields()
	for i := range fields.Len() {
		name := string(fields.Get(i).Name())
		k := kinds[name]
		if k == nil || k.target == nil || k.decide == nil || k.apply == nil {
			t.Errorf("%s has no rules", name)
		}
		if got := strings.Join(roleNames(signoff.RolesOf(name)), " "); got != table[name] || got == "" {
			t.Errorf("%s: the .proto says %q, the table %q", name, got, table[name])
		}
	}
	if len(kinds) != fields.Len() {
		t.Errorf("%d kinds have rules, the .proto has %d", len(kinds), fields.Len())
	}
}
