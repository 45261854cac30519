package transport

import (
	"net"
	"net/netip"
	"sync"
)

// Limit bounds the connections of a listener: total altogether, and each from one address, so that one
// client that opens many cannot shut the others out. An address of version 6 counts with its network
// of 64 bits, which is what one subscriber has. Those from this machine itself, such as from a reverse
// proxy, count towards the total only. What is above a bound is closed at once.
func Limit(l net.Listener, total, each int) net.Listener {
	return &limited{Listener: l, total: total, each: each, by: map[netip.Prefix]int{}}
}

type limited struct {
	net.Listener
	total, each int

	mu   sync.Mutex
	open int
	by   map[netip.Prefix]int
}

func (l *limited) Accept() (net.Conn, error) {
	for {
		c, err := l.Listener.Accept()
		if err != nil {
			return nil, err
		}
		from := networkOf(c.RemoteAddr())
		if l.take(from) {
			return &counted{Conn: c, give: sync.OnceFunc(func() { l.give(from) })}, nil
		}
		_ = c.Close() // it was never used
	}
}

func (l *limited) take(from netip.Prefix) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.open >= l.total || from.IsValid() && l.by[from] >= l.each {
		return false
	}
	l.open++
	if from.IsValid() {
		l.by[from]++
	}
	return true
}

func (l *limited) give(from netip.Prefix) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.open--
	if !from.IsValid() {
		return
	}
	if l.by[from]--; l.by[from] <= 0 {
		delete(l.by, from)
	}
}

// networkOf is what an address counts as; not valid for this machine itself, which does not count.
func networkOf(a net.Addr) netip.Prefix {
	at, err := netip.ParseAddrPort(a.String())
	if err != nil {
		return netip.Prefix{}
	}
	ip := at.Addr().Unmap().WithZone("")
	if ip.IsLoopback() {
		return netip.Prefix{}
	}
	bits := ip.BitLen()
	if ip.Is6() {
		bits = 64
	}
	p, _ := ip.Prefix(bits) // the number of bits suits the address
	return p
}

type counted struct {
	net.Conn
	give func()
}

func (c *counted) Close() error {
	c.give()
	return c.Conn.Close()
}
