package client

import (
	"crypto/ed25519"
	"encoding/hex"
	"fmt"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"witnessmark/store/signoff"
)

// The public key of RFC 8032, section 7.1, test 1, and its line in the wire form of RFC 8709, section 4.
const (
	rfcKey  = "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a"
	rfcLine = "ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAINdamAGCsQq31Uv+08lkBzoO4XLz2qYjJa8CGmj3B1Ea"
)

var (
	someInvitation = Invitation{Addresses: []string{"bay.lan:7017", "[fd00::5]:7017"}, Fingerprint: "SHA256:" + strings.Repeat("A", 43),
		Head: Head{Size: 1204, Root: strings.Repeat("0123456789abcdef", 4)}}
	someIntroduction = Introduction{Name: "Anna Berg", Roles: []string{"calibrator", "technician"}, Key: rfcLine}
)

const (
	someInvited    = "witnessmark invitation bay.lan:7017,[fd00::5]:7017 SHA256:AAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAAA 1204:0123456789abcdef0123456789abcdef0123456789abcdef0123456789abcdef"
	someIntroduced = "witnessmark introduction " + rfcLine + " calibrator,technician Anna Berg"
)

func TestLinesAsTheyAreSent(t *testing.T) {
	raw, err := hex.DecodeString(rfcKey)
	if err != nil || signoff.FormatPublicKey(raw) != rfcLine {
		t.Fatalf("the key's line is %s, %v", signoff.FormatPublicKey(raw), err)
	}
	if got := someInvitation.String(); got != someInvited {
		t.Errorf("invitation: %s", got)
	}
	if got := someIntroduction.String(); got != someIntroduced {
		t.Errorf("introduction: %s", got)
	}
}

func TestLinesRoundTrip(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	names := []string{"A", "Jo", "Anna Berg", "d'Arc", "x_y", "Éloïse", "佐藤 さくら", "1ead", "lead"}
	hosts := []string{"h", "bay.lan", "127.0.0.1", "[::1]", "SHA256", "10.0.0.5"}
	for range 500 {
		public := make([]byte, ed25519.SeedSize)
		for i := range public {
			public[i] = byte(r.Uint32())
		}
		key := ed25519.NewKeyFromSeed(public).Public().(ed25519.PublicKey)
		i := Invitation{Fingerprint: signoff.HashFingerprint([32]byte(key)), Head: Head{Size: 1 + r.Uint64N(1<<r.Uint64N(63)), Root: hex.EncodeToString(public)}}
		for n := range 1 + r.IntN(3) {
			i.Addresses = append(i.Addresses, fmt.Sprintf("%s:%d", hosts[r.IntN(len(hosts))], 1+n+3*r.IntN(20000)))
		}
		if got, err := ParseInvitation(broken(r, i.String())); err != nil || !reflect.DeepEqual(got, i) {
			t.Fatalf("%s: %+v, %v", i, got, err)
		}
		roles := []string{"technician", "calibrator", "lead"}
		r.Shuffle(3, func(a, b int) { roles[a], roles[b] = roles[b], roles[a] })
		p := Introduction{Name: names[r.IntN(len(names))], Roles: roles[:1+r.IntN(3)], Key: signoff.FormatPublicKey(key)}
		// Between the words of a name any blanks are one.
		line := broken(r, strings.TrimSuffix(p.String(), p.Name)) + strings.ReplaceAll(p.Name, " ", " \r\n  ")
		if got, err := ParseIntroduction(line); err != nil || !reflect.DeepEqual(got, p) {
			t.Fatalf("%q: %+v, %v", line, got, err)
		}
	}
}

// broken puts blanks into a line as mail does: line ends anywhere, soft ones of RFC 3676 with a blank before and behind them,
// and in the place of a blank a no-break one, as pages have it.
func broken(r *rand.Rand, line string) string {
	var b strings.Builder
	for _, c := range line {
		if r.IntN(8) == 0 {
			b.WriteString([]string{"\n", "\r\n", " \n ", "\t", "\u00a0", "\u2028"}[r.IntN(6)])
		}
		b.WriteRune(c)
	}
	return b.String()
}

// Every byte that is lost, doubled or another is noticed, or makes another line, which the ledger's fingerprint and head and the lead's
// look at the key are for.
func TestDamagedLines(t *testing.T) {
	for at := range someInvited {
		for _, line := range damagedAt(someInvited, at) {
			if got, err := ParseInvitation(line); err == nil && reflect.DeepEqual(got, someInvitation) {
				t.Errorf("%q is taken for the whole line", line)
			} else {
				oneLine(t, err)
			}
		}
	}
	for at := range someIntroduced {
		for _, line := range damagedAt(someIntroduced, at) {
			if got, err := ParseIntroduction(line); err == nil && reflect.DeepEqual(got, someIntroduction) {
				t.Errorf("%q is taken for the whole line", line)
			} else {
				oneLine(t, err)
			}
		}
	}
}

func damagedAt(line string, at int) (out []string) {
	if line[at] == ' ' {
		return []string{line[:at] + line[at+1:], line[:at] + "," + line[at+1:], line[:at]}
	}
	for _, c := range "x0A,:\x00é" {
		if byte(c) != line[at] {
			out = append(out, line[:at]+string(c)+line[at+1:])
		}
	}
	return append(out, line[:at]+line[at+1:], line[:at]+line[at:at+1]+line[at:], line[:at])
}

func oneLine(t *testing.T, err error) {
	t.Helper()
	if err != nil && (KindOf(err) != Usage || TryOf(err) == "" || strings.ContainsAny(err.Error(), "\n\r") || !strings.HasPrefix(err.Error(), "the in")) {
		t.Errorf("%q", err)
	}
}

func TestWrongLinesSayWhatIsWrong(t *testing.T) {
	invited := func(from, to string) string { return strings.Replace(someInvited, from, to, 1) }
	introduced := func(from, to string) string { return strings.Replace(someIntroduced, from, to, 1) }
	for _, c := range []struct{ line, says string }{
		{"", "does not begin with the words: witnessmark invitation"},
		{someIntroduced, "does not begin with the words: witnessmark invitation"},
		{"> " + someInvited, "does not begin with the words"},
		{invited("witnessmark", "Witnessmark"), "does not begin with the words"},
		{strings.Repeat(someInvited, 60), "allowed are 8192"},
		{invited("SHA256:", ""), "the fingerprint is missing"},
		{invited("bay.lan:7017,", "bay.lan,"), `"bay.lan,[fd00::5]:7017" is not where a server is`},
		{invited(":7017,", ":port,"), "is not where a server is"},
		{invited(":7017,", ":70170,"), "is not where a server is"},
		{invited("[fd00::5]", "bay.lan"), "is not where a server is"},
		{invited("bay.lan:7017,[fd00::5]:7017 ", ""), `"" is not where a server is`},
		{invited("AAA ", "AA "), "is no fingerprint"},
		{invited("AAA ", "AAB "), "is no fingerprint"},
		{invited(" 1204:", " 0:"), "is no head"},
		{invited(" 1204:", " "), "is no head"},
		{invited("cdef", "cdeF"), "is no head"},
		{someInvited + "0", "is no head"},
		{someInvited + " please", "is no head"},
		{strings.TrimSuffix(someInvited, someInvited[strings.LastIndex(someInvited, " "):]), `"" is no head`},
	} {
		if _, err := ParseInvitation(c.line); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q: %v, want %q", c.line, err, c.says)
		} else {
			oneLine(t, err)
		}
	}
	for _, c := range []struct{ line, says string }{
		{someInvited, "does not begin with the words: witnessmark introduction"},
		{introduced("ssh-ed25519", "ssh-rsa"), `"ssh-rsa" is no kind of key`},
		{introduced("ssh-ed25519", "sk-ssh-ed25519@openssh.com"), "is no kind of key"},
		{introduced("B1Ea ", "B1E "), "is no key"},
		{introduced("B1Ea ", "B1Eaa "), "is no key"},
		{introduced(rfcLine, "ssh-ed25519 AAAAC3NzaC1lZDI1NTE5AAAAIMcXanA9TdhPujwLdg0QZw8qIFP6LDnMxk7H/XeSrAN6"), "is no key"}, // of small order
		{introduced("calibrator,", "boss,"), `"boss,technician" stands where roles are`},
		{introduced("calibrator,technician ", ""), `"Anna" stands where roles are`},
		{introduced("technician ", " "), "stands where roles are"},
		{introduced("calibrator,technician ", "lead,lead "), "stands where roles are"},
		{introduced("technician ", "technician"), "stands where roles are"},
		{introduced(" Anna Berg", ""), "0 characters"},
		{introduced("Anna", "Аnna"), "one script is allowed"},
		{introduced("Anna", "An\u200bna"), "U+200B"},
	} {
		if _, err := ParseIntroduction(c.line); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q: %v, want %q", c.line, err, c.says)
		} else {
			oneLine(t, err)
		}
	}
}

func FuzzLines(f *testing.F) {
	for _, line := range []string{someInvited, someIntroduced, strings.ReplaceAll(someInvited, " ", "\n"), strings.ReplaceAll(someIntroduced, "A", " A")} {
		f.Add(line)
	}
	f.Fuzz(func(t *testing.T, line string) {
		if i, err := ParseInvitation(line); err != nil {
			oneLine(t, err)
		} else if again, err := ParseInvitation(i.String()); err != nil || !reflect.DeepEqual(again, i) {
			t.Errorf("%q: %q %+v, %v", line, i, again, err)
		}
		if i, err := ParseIntroduction(line); err != nil {
			oneLine(t, err)
		} else if again, err := ParseIntroduction(i.String()); err != nil || !reflect.DeepEqual(again, i) {
			t.Errorf("%q: %q %+v, %v", line, i, again, err)
		}
	})
}
