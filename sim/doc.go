// Package sim is a bench to test against: the fluid circuit, a supply unit with faults at any
// severity, alone or with a J1939 controller of its own, and the bench's I/O node, reached by
// CAN frames only.
//
// A Bench is a can.Process. It integrates on a fixed grid of 1 ms from Options.Start, applies a
// frame at the grid point before the frame's time and sends at its own times, so the frames it
// sends depend on the seed and on what it heard and when, and not on how often Step is called.
//
// It imports nothing of the harness. Truth and Options.Watch are for tests and for campaigns
// that compare a verdict with what was really there; a harness never sees them. Units drawn are
// good ones of one kind with their usual spread (Options.Spread); each instrument's error is
// drawn once, normal, inside its stated class (k = 2).
package sim
