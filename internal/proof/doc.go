// Package proof measures what the scoring says against what is true, by simulation through the real
// code: athletes whose true side differences are drawn from what the protocol takes for known, readings
// drawn from the measurement errors that it states, records scored as any other. No real athlete is in
// it. It shows that the arithmetic is right if its assumptions are, and what becomes of it where they
// are not; it does not show that a threshold means anything for injury.
//
// Everything is deterministic: each result follows from the protocol, a number of draws and a seed, on
// any number of cores.
package proof
