package watch

import (
	"encoding/json"
	"time"
)

// Files in the folder of a long watch (bench/watch/keep).
const (
	EventsFile  = "events.jsonl"
	SummaryFile = "summary.json"
)

// Told is an event as written to the file and by --json.
type Told struct {
	Time   time.Time `json:"time"`
	Kind   string    `json:"kind"`
	Level  string    `json:"level,omitempty"`
	Bank   uint8     `json:"bank,omitempty"`
	Source *uint8    `json:"source,omitempty"`
	Text   string    `json:"text"`
	For    float64   `json:"for_s,omitempty"`
}

// MarshalJSON writes the event as one object: time, kind, level, bank and source of a unit, text, for_s.
func (e Event) MarshalJSON() ([]byte, error) {
	l := Told{Time: e.At.Time(), Kind: e.Kind, Bank: e.Bank, Text: e.Text, For: e.For.Seconds()}
	if e.Level != NotSeen {
		l.Level = e.Level.String()
	}
	if e.Bank > 0 || e.Kind == "fault" {
		l.Source = &e.Source
	}
	return json.Marshal(l)
}
