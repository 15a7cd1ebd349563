// Package torture runs the harness against a simulated bench on which everything goes wrong that a seed can
// draw: the scenario, the unit's faults, and an environment that loses, delays, doubles, swaps and garbles
// frames, babbles, restarts the bench node, drops sensors out, presses the stop, fills the disk, holds the
// program up, and kills it at any instant. All in virtual time: the same seed gives the same bytes.
//
// Checkers that stand outside the harness hold at all times: they look at the frames that the harness was
// handed, at the commands that it sends, at what the simulated node really does, at the pressure that is
// really there, and at the bytes that are left on the disk. They share no code with the engine.
//
// It may import bench and sim, and nothing but the command line may import it. It reads no clock.
package torture
