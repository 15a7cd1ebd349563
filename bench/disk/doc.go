// Package disk is how a record reaches the disk and comes back from it. What it writes is there whole or
// not at all, and its name is durable when the call returns: file and folder are synced. What it reads is
// a plain file: a pipe, a device or a link in the place of a record's file is refused at once, for it would
// hold up the program or lead it elsewhere.
//
// Every step that changes the disk goes through one place (step), so that a test can stop the
// program in front of any of them (see Inject). It knows no names of records.
package disk
