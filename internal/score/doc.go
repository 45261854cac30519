// Package score turns readings and a protocol into findings, link probabilities, targets and triage.
// It is pure: no clock, no random source, no input or output; the same record gives the same report
// every time. It builds on screen (the record and the protocol) and stat (the distributions).
//
// Conventions used throughout: an angle, length or force is in its measure's unit, a time or a
// strength is compared on the scale of its natural logarithm. A difference D is oriented so that
// larger is worse for the throwing arm (or, of the legs, the lead leg); a rule speaks of a deficit
// where D is greater than its threshold τ, and τ itself is on the clear side.
package score
