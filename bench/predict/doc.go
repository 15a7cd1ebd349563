// Package predict says beforehand what a plan can prove on a rig: the expanded uncertainty that each
// limited characteristic will have, by the same budgets that judge a run. It writes down the course of a
// run as a healthy unit would give it (Record), with each instrument's interval, resolution and scatter,
// and lets package measure compute from it.
//
// Bench and unit are moved by package control, as the engine moves them. The course is the balance of one line with a
// shaft that pushes its half sines into it, as a cycle of the pressure loop sees it: pressures, flows and masses are what the rig's stated circuit gives with the numbers in expected.go and
// shaft.go. It is no simulator. It predicts no value of the unit in
// front of you, no fault, and nothing that a person is asked.
package predict
