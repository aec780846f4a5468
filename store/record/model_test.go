package record

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// model is one job as a person would keep it on a sheet of paper.
type model struct {
	roles     map[string]string // of those not retired
	subs      []*paper
	release   int
	limits    int // revision
	collected int // what was last collected; -1 for nothing
	car       string
}

type paper struct {
	author, state, verdict, warn string
	limits                       int
	signer, signed, signedWarn   string
	collected                    bool
}

var ranks = []string{"clear", "notice", "caution", "warning", "danger"}

// wording is what a judgement says in the notation.
func wording(verdict, warn string) string {
	if verdict == "warning" {
		return " warn=" + warn
	}
	return " verdict=" + verdict + " warn="
}

func (m *model) is(who string, roles ...string) bool {
	for _, r := range roles {
		if strings.Contains(m.roles[who], r) {
			return true
		}
	}
	return false
}

// worsened says whether a signed paper no longer covers a judgement.
func (p *paper) worsened(verdict, warn string) bool {
	if slices.Index(ranks, verdict) > slices.Index(ranks, p.signed) {
		return true
	}
	for _, k := range list(warn, ",") {
		if !slices.Contains(list(p.signedWarn, ","), k) {
			return true
		}
	}
	return false
}

func (p *paper) out() bool { return p.state == "released" || p.state == "in car" }

func (m *model) submit(who, verdict, warn string) bool {
	if !m.is(who, "calibrator", "lead") {
		return false
	}
	for _, p := range m.subs {
		if p.state == "waiting" {
			p.state = "replaced"
		}
	}
	m.subs = append(m.subs, &paper{author: who, state: "waiting", verdict: verdict, warn: warn, limits: m.limits})
	return true
}

func (m *model) sign(who string, n int, verdict, warn string) bool {
	p := m.subs[n-1]
	switch {
	case who == p.author, verdict == "danger", !m.is(who, "calibrator", "lead"), verdict == "warning" && !m.is(who, "lead"):
		return false
	case p.state == "waiting" && p.limits == m.limits && (verdict != p.verdict || warn != p.warn):
		return false
	case p.out() && (m.release != n || !p.worsened(verdict, warn)):
		return false
	case p.state != "waiting" && !p.out():
		return false
	}
	if p.state == "waiting" {
		p.state = "released"
	}
	p.signer, p.signed, p.signedWarn, p.collected = who, verdict, warn, false
	m.release = n
	return true
}

func (m *model) giveBack(who string, n int) bool {
	p := m.subs[n-1]
	if !m.is(who, "technician", "calibrator", "lead") || !p.out() && p.state != "waiting" {
		return false
	}
	p.state = "returned"
	if m.release == n {
		m.release = 0
	}
	return true
}

func (m *model) withdraw(who string, n int) bool {
	p := m.subs[n-1]
	if !m.is(who, "calibrator", "lead") || p.author != who || p.state != "waiting" {
		return false
	}
	p.state = "withdrawn"
	return true
}

func (m *model) collect(who string, n int, verdict, warn string) bool {
	if !m.is(who, "technician", "lead") {
		return false
	}
	if n > 0 {
		p := m.subs[n-1]
		if !p.out() || m.release != n || p.worsened(verdict, warn) {
			return false
		}
		p.collected = true
	}
	m.collected = n
	return true
}

func (m *model) readBack(who string, n int, how string) bool {
	if !m.is(who, "technician", "lead") || m.collected != n {
		return false
	}
	switch how {
	case "matches":
		m.car = fmt.Sprintf("1.%d read-back", n)
		if n > 0 && m.subs[n-1].state == "released" {
			m.subs[n-1].state = "in car"
		}
	case "impossible":
		m.car = fmt.Sprintf("1.%d written, not read back", n)
	}
	return true
}

func (m *model) retire(who, whom string, compromised bool) bool {
	leads := 0
	for p := range m.roles {
		if m.is(p, "lead") {
			leads++
		}
	}
	if !m.is(who, "lead") || m.roles[whom] == "" || m.is(whom, "lead") && leads == 1 {
		return false
	}
	delete(m.roles, whom)
	for i, p := range m.subs {
		if compromised && p.signer == whom && p.out() && !p.collected {
			p.state = "waiting"
			if i < len(m.subs)-1 {
				p.state = "replaced"
			}
			if m.release == i+1 {
				m.release = 0
			}
		}
	}
	return true
}

// step draws an action: its line, and whether the model lets it pass (and then does it).
func (m *model) step(t *rapid.T) (line string, may bool) {
	who := rapid.SampledFrom([]string{"T", "C", "D", "E", "L", "M"}).Draw(t, "who")
	verdict := rapid.SampledFrom(ranks).Draw(t, "verdict")
	warn := ""
	if verdict == "warning" {
		warn = rapid.SampledFrom([]string{"a", "b", "a,b"}).Draw(t, "warn")
	}
	n := rapid.IntRange(1, max(1, len(m.subs))).Draw(t, "n")
	if newest := rapid.Bool().Draw(t, "newest"); newest || len(m.subs) == 0 {
		n = len(m.subs)
	}
	if n > 0 && rapid.Bool().Draw(t, "as it was") {
		verdict, warn = m.subs[n-1].verdict, m.subs[n-1].warn
	}
	verb := rapid.SampledFrom([]string{"submit", "submit", "sign", "sign", "sign", "return", "withdraw", "collect", "collect", "collect", "original", "back", "back", "back", "back", "limits", "retire"}).Draw(t, "verb")
	says := wording(verdict, warn)
	if n == 0 && slices.Contains([]string{"sign", "return", "withdraw"}, verb) {
		verb = "submit"
	}
	switch verb {
	case "submit":
		return fmt.Sprintf("%s submits 1 image%d%s", who, len(m.subs), says), m.submit(who, verdict, warn)
	case "sign":
		return fmt.Sprintf("%s signs 1.%d%s", who, n, says), m.sign(who, n, verdict, warn)
	case "return":
		return fmt.Sprintf("%s returns 1.%d", who, n), m.giveBack(who, n)
	case "withdraw":
		return fmt.Sprintf("%s withdraws 1.%d", who, n), m.withdraw(who, n)
	case "collect":
		return fmt.Sprintf("%s collects 1.%d%s", who, n, says), m.collect(who, n, verdict, warn)
	case "original":
		return who + " collects 1.0", m.collect(who, 0, "", "")
	case "limits":
		may = m.is(who, "lead")
		if may {
			m.limits++
		}
		return fmt.Sprintf("%s limits l M%d", who, m.limits+map[bool]int{true: 0, false: 1}[may]), may
	case "retire":
		whom := rapid.SampledFrom([]string{"T", "D", "E", "L", "M"}).Draw(t, "whom")
		compromised := rapid.Bool().Draw(t, "compromised")
		line = who + " retires " + whom
		if compromised {
			line += " compromised"
		}
		return line, m.retire(who, whom, compromised)
	}
	if m.collected >= 0 && rapid.IntRange(0, 3).Draw(t, "another one") > 0 {
		n = m.collected
	}
	how := rapid.SampledFrom([]string{"matches", "differs", "impossible"}).Draw(t, "how")
	if how == "impossible" {
		return fmt.Sprintf("%s cannot-read 1.%d", who, n), m.readBack(who, n, how)
	}
	return fmt.Sprintf("%s reads-back 1.%d found %s", who, n, how), m.readBack(who, n, how)
}

func (m *model) compare(t *rapid.T, line string, s *State) {
	job, _ := s.Job(1)
	if int(job.GetRelease()) != m.release || len(job.GetSubmissions()) != len(m.subs) {
		t.Fatalf("%s: release %d of %d, the model has %d of %d", line, job.GetRelease(), len(job.GetSubmissions()), m.release, len(m.subs))
	}
	for i, p := range m.subs {
		if got := job.GetSubmissions()[i].GetState(); got != p.state {
			t.Fatalf("%s: 1.%d is %s, the model has %s", line, i+1, got, p.state)
		}
	}
	in := job.GetInCar()
	if got := fmt.Sprintf("%d.%d %s", in.GetJob(), in.GetSubmission(), in.GetKnownBy()); got != m.car {
		t.Fatalf("%s: in car %s, the model has %s", line, got, m.car)
	}
}

// TestModel runs random actions on the state and on the model; both must let the same ones pass.
func TestModel(t *testing.T) {
	admitted := map[string]int{}
	rapid.Check(t, func(t *rapid.T) {
		h := newHistory(t, false).script(oneJob + "L enrols E technician+calibrator\nL enrols M lead")
		m := &model{collected: -1, car: "1.0 read", roles: map[string]string{
			"T": "technician", "C": "calibrator", "D": "calibrator", "E": "technician calibrator", "L": "lead", "M": "lead",
		}}
		for range rapid.IntRange(10, 40).Draw(t, "steps") {
			line, may := m.step(t)
			entry := h.entry(line, nil)
			_, err := Admit(h.s, entry)
			if (err == nil) != may {
				t.Fatalf("%s: %v, but the model lets it pass: %v", line, err, may)
			}
			if err == nil {
				h.entries = append(h.entries, entry)
				admitted[parseLine(line).verb]++
			}
			m.compare(t, line, h.s)
		}
		replays(t, h)
	})
	for _, verb := range []string{"submits", "signs", "returns", "withdraws", "collects", "reads-back", "cannot-read", "limits", "retires"} {
		if admitted[verb] == 0 {
			t.Errorf("in all these histories nobody ever %s", verb)
		}
	}
}
