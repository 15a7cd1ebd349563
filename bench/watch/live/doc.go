// Package live watches a vehicle's bus while it is driven: it feeds what is heard to a bench/watch Watcher, raises the
// person's own alarms, shows itself on a screen, in lines or as JSON, keeps traffic, events and summaries, and goes on
// where it was cut off. It also reads recordings, many at a time.
//
// It is handed a source, which has no method that sends, and whose clock is the only one it knows.
package live
