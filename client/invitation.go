package client

import (
	"context"
	"fmt"
	"net"
	"slices"
	"strconv"
	"strings"

	"witnessmark/store/signoff"
)

// Invitation is by what somebody joins a workshop. Nothing in it is secret, and whoever is given it knows whether they are
// shown the workshop's ledger.
type Invitation struct {
	Addresses   []string // HOST:PORT, where the server is reached
	Fingerprint string   // the ledger's, as init printed it
	Head        Head     // what its sender has seen of the ledger: size and root
}

const invitation = "invitation"

// String is the invitation as the line that people send.
func (i Invitation) String() string {
	return fmt.Sprintf("witnessmark %s %s %s %d:%s", invitation, strings.Join(i.Addresses, ","), i.Fingerprint, i.Head.Size, i.Head.Root)
}

// ParseInvitation reads the line, however mail broke it. An error says which part is wrong.
func ParseInvitation(text string) (i Invitation, err error) {
	p, err := paste(invitation, text)
	if err != nil {
		return i, err
	}
	const mark = "SHA256:"
	where := strings.LastIndex(p.left(), mark)
	if where < 0 {
		return i, p.wrong("the fingerprint is missing, %s and 43 characters", mark)
	}
	part, apart := p.take(where)
	if i.Addresses, err = Reachable(part); err != nil || !apart {
		return i, p.wrong("%.100q is not where a server is; allowed: HOST:PORT[,HOST:PORT…] and a blank", part)
	}
	part, apart = p.take(len(mark) + 43)
	if _, err := signoff.ParseFingerprint(part); err != nil || !apart {
		return i, p.wrong("%.60q is no fingerprint; allowed: %s, 43 characters and a blank", part, mark)
	}
	i.Fingerprint = part
	if i.Head, err = parseHead(p.left()); err != nil || p.left() == "" {
		return i, p.wrong("%.100q is no head; allowed: SIZE:ROOT, at the end", p.left())
	}
	return i, nil
}

// Reachable is a list with commas of where a server is, HOST:PORT each.
func Reachable(list string) ([]string, error) {
	addrs, err := addressesOf(list)
	for _, addr := range addrs {
		_, port, _ := net.SplitHostPort(addr)
		if n, err := strconv.ParseUint(port, 10, 16); err != nil || n == 0 {
			return nil, usage("HOST:PORT", "%.100q has no port, 1 to 65535", addr)
		}
	}
	return addrs, err
}

// Invite is an invitation to the ledger as this client reaches and has seen it: with the addresses that were given, else with its own,
// without those of this machine alone where there are others.
func (c *Client) Invite(addresses ...string) (Invitation, error) {
	i := Invitation{Fingerprint: c.Fingerprint(), Head: c.Head()}
	if i.Head.Size == 0 {
		return i, usage("witnessmark ledger verify", "nothing is known of the ledger yet: there is no head to invite anybody to")
	}
	given := len(addresses) > 0
	list := c.Server()
	if given {
		list = strings.ReplaceAll(strings.Join(addresses, ","), " ", "")
	}
	var err error
	if i.Addresses, err = Reachable(list); err != nil {
		return i, err
	}
	if far := slices.DeleteFunc(slices.Clone(i.Addresses), loopback); !given && len(far) > 0 {
		i.Addresses = far
	}
	return i, nil
}

// OnlyHere are the addresses of the invitation that lead others to their own machine.
func (i Invitation) OnlyHere() []string {
	return slices.DeleteFunc(slices.Clone(i.Addresses), func(addr string) bool { return !loopback(addr) })
}

func loopback(addr string) bool {
	host, _, _ := net.SplitHostPort(addr)
	ip := net.ParseIP(host)
	return strings.EqualFold(host, "localhost") || ip != nil && (ip.IsLoopback() || ip.IsUnspecified())
}

// FromElsewhere are the addresses of this machine in its networks at which something answers on the port of a loopback address:
// what others can reach that server by, the likeliest first. There are none where it listens to this machine alone.
func FromElsewhere(ctx context.Context, addr string) (out []string) {
	_, port, _ := net.SplitHostPort(addr)
	own, _ := net.InterfaceAddrs()
	// The way out has the address that others see: nothing is sent to it (RFC 5737 keeps it for documents).
	if way, err := net.Dial("udp", "192.0.2.1:9"); err == nil {
		host, _, _ := net.SplitHostPort(way.LocalAddr().String())
		i := slices.IndexFunc(own, func(a net.Addr) bool { return strings.HasPrefix(a.String(), host+"/") })
		if i > 0 {
			own[0], own[i] = own[i], own[0]
		}
		_ = way.Close()
	}
	for _, a := range own {
		n, ok := a.(*net.IPNet)
		if !ok || !n.IP.IsGlobalUnicast() {
			continue
		}
		there := net.JoinHostPort(n.IP.String(), port)
		d := net.Dialer{Timeout: headStart}
		if conn, err := d.DialContext(ctx, "tcp", there); err == nil {
			_ = conn.Close()
			out = append(out, there)
		}
	}
	return out
}
