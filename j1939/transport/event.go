package transport

// Event says what a frame did to the sessions.
type Event uint8

const (
	Foreign   Event = iota // no frame of the transport protocol
	Begun                  // an announcement or request opened a session
	Progress               // a frame of a session, in order
	Completed              // the last packet: the message is whole

	// A message was lost.
	SequenceError // a broadcast packet out of order: the session is dropped
	TimedOut      // no packet in time: the session is dropped
	Aborted       // one of the two nodes ended it
	Incomplete    // acknowledged by its receiver, but we have not heard all of it
	Replaced      // its source began another one
	Evicted       // its source has too many conversations at once: the oldest went; or ETP holds too much
	TooLong       // an extended message longer than MaxHeard, which is not followed

	// A frame was of no use.
	Malformed // size, packet count, length or destination against the standard
	Orphan    // a packet of a session whose begin was not heard, or that was dropped
	Duplicate // a packet heard before: doubled on the bus or sent again at its receiver's wish

	numEvents = iota
)

var eventNames = [numEvents]string{
	"no transport frame", "begun", "in progress", "completed", "sequence error", "timed out", "aborted",
	"incomplete", "replaced", "evicted", "too long", "malformed", "without a session", "duplicate",
}

func (e Event) String() string { return eventNames[e] }

// Lost says that the event cost a message.
func (e Event) Lost() bool { return e >= SequenceError && e <= TooLong }

// Counts is how often each event has happened.
type Counts [numEvents]uint64

// Lost is the number of messages that were begun and not completed.
func (c *Counts) Lost() (n uint64) {
	for e := SequenceError; e <= TooLong; e++ {
		n += c[e]
	}
	return n
}

// Add adds the counts of another receiver.
func (c *Counts) Add(other *Counts) {
	for i, n := range other {
		c[i] += n
	}
}
