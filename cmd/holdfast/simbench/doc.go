// Package simbench sets up a run on the simulated bench: the command line's --bus sim, a campaign of many units and
// the torture of a run begin alike here, so that the same seed gives the same run in each of them.
//
// It joins bench and sim, which may not know each other. Only the paced bus reads a clock.
package simbench
