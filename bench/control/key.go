package control

import "holdfast/bench/scenario"

// Field is where in a step a key's value goes.
type Field uint8

const (
	Duration Field = iota
	Settle
	Timeout
	Stays
	Pulse
	Drive
	Duty
	Pressure
	Band
)

// Key is one key of a step in a scenario file.
type Key struct {
	Word, Example string
	Field         Field
	Optional      bool
	Otherwise     float64 // of an optional key that is left out, s or %
}

func lasts(example string) Key             { return Key{Word: "for", Example: example, Field: Duration} }
func pressureKey(word, example string) Key { return Key{Word: word, Example: example, Field: Pressure} }

// Keys that several kinds share.
var (
	driveKey   = Key{Word: "drive", Example: "60 %", Field: Drive}
	dutyKey    = Key{Word: "duty", Example: "20 %", Field: Duty}
	bandKey    = Key{Word: "band", Example: "3 %", Field: Band, Optional: true, Otherwise: 3}
	staysKey   = Key{Word: "stays", Example: "0.5 s", Field: Stays}
	settleKey  = Key{Word: "settle", Example: "5 s", Field: Settle, Optional: true}
	timeoutKey = Key{Word: "timeout", Example: "30 s", Field: Timeout}
)

// Keys returns the keys of a kind of step; none of ask, whose keys depend on each other.
func Keys(k scenario.Kind) []Key { return kindOf(k).keys }

// Does returns what the bench does in a step of a kind, for a person to read. Keys of the step stand in back quotes.
func Does(k scenario.Kind) string { return kindOf(k).does }

// Example returns the step of a kind as a person would write it.
func Example(k scenario.Kind) string {
	if text := kindOf(k).example; text != "" {
		return text
	}
	text := "{"
	for i, key := range kindOf(k).keys {
		if i > 0 {
			text += ", "
		}
		text += key.Word + ": " + key.Example
	}
	return text + "}"
}
