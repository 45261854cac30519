// Package ops counts what the program does, for those who run it. What it counts is by the pattern of
// a route, never by address, id or name.
package ops
