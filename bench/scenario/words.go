package scenario

import (
	"math"
	"time"

	"holdfast/bench/yamltext"
	"holdfast/j1939/unit"
)

// Bounds of what a plan may state.
const (
	longestStep     = time.Hour
	longestPlan     = 4 * time.Hour
	mostSteps       = 200
	highestPressure = 40.0 // bar gauge
)

// word is one key of a step: how it is read and where it goes.
type word struct {
	key, example string
	read         func(f *yamltext.Fields, w word, s *Step)
}

func (w word) must(f *yamltext.Fields, d unit.Dimension, g yamltext.Range) float64 {
	v, _ := f.Quantity(w.key, d, g, w.example)
	return v
}

func duration(key, example string, into func(*Step) *time.Duration) word {
	return word{key, example, func(f *yamltext.Fields, w word, s *Step) {
		*into(s) = f.Duration(w.key, longestStep, w.example)
	}}
}

func mayLast(key, example string, otherwise time.Duration, into func(*Step) *time.Duration) word {
	return word{key, example, func(f *yamltext.Fields, w word, s *Step) {
		*into(s) = f.DurationOr(w.key, longestStep, otherwise)
	}}
}

func pressureWord(key, example string) word {
	return word{key, example, func(f *yamltext.Fields, w word, s *Step) {
		s.Pressure = w.must(f, unit.Pressure, yamltext.Range{Min: 0.05, Max: highestPressure})
	}}
}

// The words of the language. Optional ones say what holds without them.
var (
	lasts = func(example string) word {
		return duration("for", example, func(s *Step) *time.Duration { return &s.Duration })
	}
	pulse   = duration("for", "2 s", func(s *Step) *time.Duration { return &s.Pulse })
	timeout = duration("timeout", "30 s", func(s *Step) *time.Duration { return &s.Timeout })
	settle  = mayLast("settle", "5 s", 0, func(s *Step) *time.Duration { return &s.Settle })
	waiting = duration("settle", "3 s", func(s *Step) *time.Duration { return &s.Settle })
	stays   = duration("stays", "0.5 s", func(s *Step) *time.Duration { return &s.Stays })
	stayed  = mayLast("stays", "0.5 s", 500*time.Millisecond, func(s *Step) *time.Duration { return &s.Stays })
	drive   = word{"drive", "60 %", func(f *yamltext.Fields, w word, s *Step) {
		s.Drive = w.must(f, unit.Ratio, yamltext.Range{Min: 1, Max: 100})
	}}
	duty = word{"duty", "20 %", func(f *yamltext.Fields, w word, s *Step) {
		s.Duty = w.must(f, unit.Ratio, yamltext.Range{Min: math.SmallestNonzeroFloat64, Max: 100})
	}}
	band = word{"band", "3 %", func(f *yamltext.Fields, w word, s *Step) {
		s.Band = f.QuantityOr(w.key, unit.Ratio, yamltext.Range{Min: 0.1, Max: 50}, 3)
	}}
)

// grammar is which words each kind of step has, in the order in which they read best.
var grammar = [...][]word{
	Vent:         {lasts("6 s")},
	Electrics:    {lasts("4 s")},
	Prime:        {drive, pressureWord("until", "2 bar"), stays, timeout},
	Pressurise:   {pressureWord("to", "9 bar"), band, stays, timeout},
	Hold:         {pressureWord("at", "9 bar"), lasts("30 s"), settle},
	Compliance:   {duty, pulse, waiting},
	LeakDown:     {lasts("60 s"), settle},
	Dose:         {pressureWord("at", "9 bar"), duty, lasts("25 s"), settle},
	Purge:        {drive, duty, lasts("60 s")},
	Repressurise: {drive, pressureWord("to", "9 bar"), band, stays, timeout},
	Relieve:      {pressureWord("below", "0.2 bar"), stayed, timeout},
	Ask:          nil, // its keys depend on each other: read by ask
}

// Example returns the step of a kind as a person would write it.
func (k Kind) Example() string {
	if k == Ask {
		return askExample
	}
	text := "{"
	for i, w := range grammar[k] {
		if i > 0 {
			text += ", "
		}
		text += w.key + ": " + w.example
	}
	return text + "}"
}

func kindNamed(name string) (Kind, bool) {
	for i, n := range kindNames {
		if n == name {
			return Kind(i), true
		}
	}
	return 0, false
}
