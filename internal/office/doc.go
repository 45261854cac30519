// Package office holds the use cases of who may come in: accounts, sessions, second factors, links,
// tokens, roles, and the audit. Secrets that are handed out are shown once and kept as hashes.
package office
