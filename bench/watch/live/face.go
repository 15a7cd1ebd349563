package live

import (
	"encoding/json"
	"fmt"
	"io"

	"holdfast/bench/watch"
)

// Lines shows a live watch as plain lines, one an event.
type Lines struct{ Out io.Writer }

// Event prints an event.
func (l Lines) Event(e watch.Event) { fmt.Fprintln(l.Out, eventLine(e)) }

// View shows nothing: what goes on is in the events.
func (Lines) View(watch.View, *watch.Watcher, []string) {}

// End has nothing to end.
func (Lines) End() {}

func eventLine(e watch.Event) string {
	mark := "     "
	if e.Level >= watch.Watch {
		mark = fmt.Sprintf("%-5s", e.Level)
	}
	who := ""
	if e.Bank > 1 {
		who = fmt.Sprintf("bank %d: ", e.Bank)
	}
	return e.At.Time().Format("2006-01-02 15:04:05.0") + "  " + mark + "  " + who + e.Text
}

// Objects shows a live watch as one JSON object an event.
type Objects struct{ Out *json.Encoder }

// Event prints an event.
func (o Objects) Event(e watch.Event) { _ = o.Out.Encode(e) }

// View shows nothing: what goes on is in the events.
func (Objects) View(watch.View, *watch.Watcher, []string) {}

// End has nothing to end.
func (Objects) End() {}
