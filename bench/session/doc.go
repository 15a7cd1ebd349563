// Package session makes one run and puts it away. It is the one place where a run is opened, performed, judged,
// sealed and indexed, whoever asked for it; and where a run that was cut off is finished later.
//
//	Open      the run is in the book; folder, recording of the bus and journal are there; nothing has moved
//	Perform   the plan has run, the journal says how it ended, its files are whole
//	Judge     the result, from what the journal says and nothing else
//	PutAway   result, report and JUnit are written, the record is sealed, the run is booked and in the index
//
// Each state is reached only from the one before. Whatever a run was cut off in, Recover finds it and takes it on
// from there.
//
// It reads no clock, opens no bus and talks to nobody: the port, the time and the person come from the command line.
package session
