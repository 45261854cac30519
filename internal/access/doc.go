// Package access says who may do what: roles, what each may do, and with whose records. It also holds
// the records of accounts, sessions, links, tokens, consents and the audit chain. It decides; it stores
// and serves nothing.
package access
