// Package api is the JSON API under /api/v1. Each resource has its file. A handler reads the request,
// calls the use case in clinic and answers; it holds no rule. The OpenAPI document and the page that
// shows it are made from the same Go types that requests are read into.
//
// Errors are problem documents (RFC 9457) that name every fault with its place in the request. Only
// what a use case returns for a user to see is shown; any other error is logged without its text,
// since that may hold names or values, and answered by a plain 500.
package api
