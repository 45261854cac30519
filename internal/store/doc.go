// Package store keeps the record of a team's screens in one SQLite file. It is the only package that
// knows gorm and SQL.
//
// Read and Write are the only doors: each runs a function in one transaction and hands it a Tx, whose
// methods speak in the types of package screen. All that is written in one Write is kept, or none of
// it. A commit is on the disk before Write returns (WAL, synchronous=FULL).
//
// What a user can put right comes back as a *screen.Problem: NotFound, Conflict (the id is taken by a
// record that says something else), Stale (the record changed since it was read) or Invalid. Every
// other error is internal and not for a user's eyes. Putting a record that is already on file with
// the same content changes nothing and is no error, so a request may be sent twice.
//
// Nothing that was entered is ever deleted. A reading is never overwritten: its correction is a new
// reading, and one that was taken back stays, with the reason.
package store
