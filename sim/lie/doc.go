// Package lie makes the instruments of a bench lie, and its node disobey: by one table (Kinds), between the bench and
// the harness, on the CAN frames alone. So it does the same to every world behind the bus: our simulator, another
// one, a bench in another process.
//
// A lie changes one signal, or the message it stands in, for a time. Frames from the bench carry readings; frames to it
// carry commands, so the same kinds make a node that does not obey: a pump that is not switched off
// is a command that is stuck. Where the bits of a signal stand is told by whoever knows the rig (Signal).
//
// It is deterministic: a seed gives the same bytes. It knows no plant and no harness.
package lie
