package transport

import (
	"net"
	"net/netip"
	"os"
	"regexp"
	"slices"
	"strings"
)

// Names are those by which browsers reach this machine: host names in lower case, and addresses.
type Names struct {
	DNS []string
	IPs []netip.Addr
}

// A host name, RFC 1123: labels of letters, digits and hyphens.
var hostName = regexp.MustCompile(`^[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?(\.[a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?)*$`)

// NamesOf sorts names and addresses; what is neither is left out.
func NamesOf(list ...string) (n Names) {
	for _, s := range list {
		if ip, err := netip.ParseAddr(strings.Trim(s, "[]")); err == nil {
			n.IPs = append(n.IPs, ip.Unmap().WithZone(""))
			continue
		}
		if s = strings.ToLower(strings.TrimSuffix(s, ".")); len(s) <= 253 && hostName.MatchString(s) {
			n.DNS = append(n.DNS, s)
		}
	}
	return n.sorted()
}

func (n Names) sorted() Names {
	ips := slices.SortedFunc(slices.Values(n.IPs), netip.Addr.Compare)
	return Names{DNS: slices.Compact(slices.Sorted(slices.Values(n.DNS))), IPs: slices.Compact(ips)}
}

// With are the names of both.
func (n Names) With(more Names) Names {
	return Names{DNS: slices.Concat(n.DNS, more.DNS), IPs: slices.Concat(n.IPs, more.IPs)}.sorted()
}

func (n *Names) key() string {
	out := strings.Join(n.DNS, " ")
	for _, ip := range n.IPs {
		out += " " + ip.String()
	}
	return out
}

func (n *Names) netIPs() (out []net.IP) {
	for _, ip := range n.IPs {
		out = append(out, ip.AsSlice())
	}
	return out
}

// Machine are the names that this machine has by itself: its host name, the same with .local, which
// other devices in the network find by multicast DNS, localhost, and the addresses of its interfaces.
func Machine() Names {
	list := []string{"localhost", "127.0.0.1", "::1"}
	if name, err := os.Hostname(); err == nil {
		list = append(list, name)
		if !strings.Contains(name, ".") {
			list = append(list, name+".local")
		}
	}
	addrs, _ := net.InterfaceAddrs() // without them the names are left
	for _, a := range addrs {
		if p, err := netip.ParsePrefix(a.String()); err == nil && (p.Addr().Is4() || !p.Addr().IsLinkLocalUnicast()) {
			list = append(list, p.Addr().String())
		}
	}
	return NamesOf(list...)
}

// nearby are the networks that lead to no machine in the public internet: private ones (RFC 1918, RFC
// 4193), shared ones (RFC 6598), link-local ones and the machine itself.
var nearby = func() (out []*net.IPNet) {
	for _, s := range []string{"10.0.0.0/8", "172.16.0.0/12", "192.168.0.0/16", "100.64.0.0/10", "169.254.0.0/16", "127.0.0.0/8",
		"fc00::/7", "fe80::/10", "::1/128"} {
		_, n, _ := net.ParseCIDR(s) // each is a network
		out = append(out, n)
	}
	return out
}()
