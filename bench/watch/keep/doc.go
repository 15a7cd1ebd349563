// Package keep is the folder of a long watch: the traffic in files of bounded size and number, every event on the disk as
// it happens, the summary after each trip; and what a watch that was cut off has left there.
package keep
