package transport

import (
	"crypto/tls"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"strings"
)

// Proxies are addresses whose word is taken for where a request came from.
type Proxies []netip.Prefix

// ParseProxies reads addresses and networks, such as 127.0.0.1 or 10.0.3.0/24.
func ParseProxies(list []string) (out Proxies, err error) {
	for _, s := range list {
		p, err := netip.ParsePrefix(s)
		if ip, alone := netip.ParseAddr(s); alone == nil {
			p, err = ip.Prefix(ip.BitLen())
		}
		if err != nil {
			return nil, fmt.Errorf("%q is not the address of a proxy: an address such as 127.0.0.1 or a network such as 10.0.3.0/24 would be right", s)
		}
		out = append(out, p.Masked())
	}
	return out, nil
}

func (p Proxies) has(address string) bool {
	at, err := netip.ParseAddrPort(address)
	for i := range p {
		if err == nil && p[i].Contains(at.Addr().Unmap().WithZone("")) {
			return true
		}
	}
	return false
}

// Behind lets named proxies say by X-Forwarded-For which client a request is from, and by
// X-Forwarded-Proto that it came to them by https. From everybody else these headers count for nothing,
// and nobody hears of them further on. The last address that no named proxy has is the client's: those
// before it can be made up.
func (p Proxies) Behind(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if p.has(r.RemoteAddr) {
			r = r.Clone(r.Context())
			r.RemoteAddr = p.client(r)
			if strings.EqualFold(strings.TrimSpace(r.Header.Get("X-Forwarded-Proto")), "https") && r.TLS == nil {
				r.TLS = &tls.ConnectionState{} // how it was encrypted is known to the proxy only
			}
		}
		for _, name := range []string{"Forwarded", "X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Prefix", "X-Forwarded-Proto", "X-Real-Ip"} {
			r.Header.Del(name)
		}
		next.ServeHTTP(w, r)
	})
}

func (p Proxies) client(r *http.Request) string {
	hops := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
	last := r.RemoteAddr
	for i := len(hops) - 1; i >= 0; i-- {
		ip, err := netip.ParseAddr(strings.TrimSpace(hops[i]))
		if err != nil {
			break
		}
		last = net.JoinHostPort(ip.WithZone("").String(), "0")
		if !p.has(last) {
			break
		}
	}
	return last
}
