// Package transport carries requests: it listens, with or without TLS, keeps slow and greedy clients
// from shutting the others out, and ends without losing what is being written. It also holds the
// certificates, and a local authority for networks in which nobody else can vouch for this machine.
package transport
