package record

import (
	"strings"
	"testing"

	recordv1 "witnessmark/proto/witnessmark/record/v1"
)

// duties says who may do what, as the project's rules for roles give it: one column a role.
const duties = `
	                             technician calibrator lead
	X enrols N technician        no         no         yes
	X retires D                  no         no         yes
	X defines d D2               no         no         yes
	X limits l L2                no         no         yes
	X rekeys-server server2      no         no         yes
	X opens AB-2                 yes        no         yes
	X reads 1 again              yes        no         yes
	X runs 1 before              yes        no         yes
	X collects 1.1               yes        no         yes
	X collects 1.0               yes        no         yes
	X reads-back 1.1 first       yes        no         yes
	X submits 1 next             no         yes        yes
	X withdraws 1.2              no         yes        yes
	X signs 2.1                  no         yes        yes
	X signs 3.1                  no         yes        yes
	X signs 4.1                  no         yes        yes
	X signs 5.1                  no         no         yes
	X signs 6.1                  no         no         no
	X returns 2.1                yes        yes        yes
	X returns 1.1                yes        yes        yes
	T opens AB-2 fuel=E85 fuels=98-RON   no  no no`

// ready is a ledger in which all of that can be done: 1.1 was collected, 1.2 is X's own and
// waits, and 2.1 to 6.1 wait with every verdict there is.
const ready = staff + `
	L enrols X calibrator
	T opens AB-1
	T reads 1 original
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

func TestEveryRoleAndKind(t *testing.T) {
	lines := strings.Split(strings.TrimSpace(duties), "\n")
	kinds := map[string]bool{}
	sets := [][]string{{technician}, {calibrator}, {lead}, {technician, calibrator}, {technician, lead}, {calibrator, lead}, {technician, calibrator, lead}}
	for _, roles := range sets {
		h := newHistory(t, false).script(ready)
		if strings.Join(roles, "+") != calibrator {
			h.script("L enrols X " + strings.Join(roles, "+"))
		}
		for _, line := range lines[1:] {
			f := strings.Fields(line)
			n := len(f) - 3
			what, may := strings.Join(f[:n], " "), false
			for i, role := range []string{technician, calibrator, lead} {
				may = may || f[n+i] == "yes" && contains(roles, role)
			}
			entry := h.entry(what, func(a *recordv1.Action) { kinds[kindName(a)] = true })
			err := Judge(h.s, entry)
			if may && err != nil {
				t.Errorf("%v: %s: %v, want it admitted", roles, what, err)
			}
			if !may {
				want := ReasonRole
				switch {
				case strings.Contains(what, "6.1") && h.mayOtherwise(calibrator, lead):
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
	for kind := range rules {
		if !kinds[kind] {
			t.Errorf("the table has no line for %s", kind)
		}
	}
	if len(kinds) != len(rules) || len(mayDo) != len(rules) || len(changes) != len(rules) {
		t.Errorf("%d kinds tried, %d rules, %d role lists, %d changes", len(kinds), len(rules), len(mayDo), len(changes))
	}
}

// mayOtherwise says whether X holds one of the roles.
func (h *history) mayOtherwise(roles ...string) bool {
	return h.s.people["x"].has(roles...)
}

func kindName(a *recordv1.Action) string {
	for _, f := range []struct {
		name string
		has  bool
	}{
		{"enrol", a.GetEnrol() != nil}, {"retire", a.GetRetire() != nil}, {"definition", a.GetDefinition() != nil},
		{"limits", a.GetLimits() != nil}, {"job", a.GetJob() != nil}, {"read", a.GetRead() != nil},
		{"submission", a.GetSubmission() != nil}, {"sign_off", a.GetSignOff() != nil}, {"return", a.GetReturn() != nil},
		{"withdraw", a.GetWithdraw() != nil}, {"collect", a.GetCollect() != nil}, {"read_back", a.GetReadBack() != nil},
		{"run", a.GetRun() != nil}, {"server_key", a.GetServerKey() != nil},
	} {
		if f.has {
			return f.name
		}
	}
	return ""
}
