// Package keeping looks after the file: copies while it is written to, copies on a schedule, encrypted
// copies, restoring one, and checking that all is well.
package keeping
