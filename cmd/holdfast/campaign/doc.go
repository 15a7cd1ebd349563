// Package campaign tests many simulated units, of which it knows what is really wrong, and counts
// how often the harness is right: verdicts, causes, and how often the stated interval covers the
// true value. It joins the simulator and the bench, which must not know each other.
//
// Each unit depends on the campaign's seed and its own number alone, so the same campaign gives
// the same bytes whatever the number of jobs, and any unit can be tested again by itself.
//
// It reads no clock, opens no CAN interface and writes no file.
package campaign
