package scenariofile

import (
	"fmt"
	"math"
	"time"

	"holdfast/bench/scenario"
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
	read         func(f *yamltext.Fields, w word, s *scenario.Step)
}

func (w word) must(f *yamltext.Fields, d unit.Dimension, g yamltext.Range) float64 {
	v, _ := f.Quantity(w.key, d, g, w.example)
	return v
}

func duration(key, example string, into func(*scenario.Step) *time.Duration) word {
	return word{key, example, func(f *yamltext.Fields, w word, s *scenario.Step) {
		*into(s) = f.Duration(w.key, longestStep, w.example)
	}}
}

func mayLast(key, example string, otherwise time.Duration, into func(*scenario.Step) *time.Duration) word {
	return word{key, example, func(f *yamltext.Fields, w word, s *scenario.Step) {
		*into(s) = f.DurationOr(w.key, longestStep, otherwise)
	}}
}

func pressureWord(key, example string) word {
	return word{key, example, func(f *yamltext.Fields, w word, s *scenario.Step) {
		s.Pressure = w.must(f, unit.Pressure, yamltext.Range{Min: 0.05, Max: highestPressure})
	}}
}

// The words of the language. Optional ones say what holds without them.
var (
	lasts = func(example string) word {
		return duration("for", example, func(s *scenario.Step) *time.Duration { return &s.Duration })
	}
	pulse   = duration("for", "2 s", func(s *scenario.Step) *time.Duration { return &s.Pulse })
	timeout = duration("timeout", "30 s", func(s *scenario.Step) *time.Duration { return &s.Timeout })
	settle  = mayLast("settle", "5 s", 0, func(s *scenario.Step) *time.Duration { return &s.Settle })
	waiting = duration("settle", "3 s", func(s *scenario.Step) *time.Duration { return &s.Settle })
	stays   = duration("stays", "0.5 s", func(s *scenario.Step) *time.Duration { return &s.Stays })
	stayed  = mayLast("stays", "0.5 s", 500*time.Millisecond, func(s *scenario.Step) *time.Duration { return &s.Stays })
	drive   = word{"drive", "60 %", func(f *yamltext.Fields, w word, s *scenario.Step) {
		s.Drive = w.must(f, unit.Ratio, yamltext.Range{Min: 1, Max: 100})
	}}
	duty = word{"duty", "20 %", func(f *yamltext.Fields, w word, s *scenario.Step) {
		s.Duty = w.must(f, unit.Ratio, yamltext.Range{Min: math.SmallestNonzeroFloat64, Max: 100})
	}}
	band = word{"band", "3 %", func(f *yamltext.Fields, w word, s *scenario.Step) {
		s.Band = f.QuantityOr(w.key, unit.Ratio, yamltext.Range{Min: 0.1, Max: 50}, 3)
	}}
)

// grammar is which words each kind of step has, in the order in which they read best.
var grammar = [...][]word{
	scenario.Vent:         {lasts("6 s")},
	scenario.Electrics:    {lasts("4 s")},
	scenario.Prime:        {drive, pressureWord("until", "2 bar"), stays, timeout},
	scenario.Pressurise:   {pressureWord("to", "9 bar"), band, stays, timeout},
	scenario.Hold:         {pressureWord("at", "9 bar"), lasts("30 s"), settle},
	scenario.Compliance:   {duty, pulse, waiting},
	scenario.LeakDown:     {lasts("60 s"), settle},
	scenario.Dose:         {pressureWord("at", "9 bar"), duty, lasts("25 s"), settle},
	scenario.Purge:        {drive, duty, lasts("60 s")},
	scenario.Repressurise: {drive, pressureWord("to", "9 bar"), band, stays, timeout},
	scenario.Relieve:      {pressureWord("below", "0.2 bar"), stayed, timeout},
	scenario.Ask:          nil, // its keys depend on each other: read by ask
}

// Example returns the step of a kind as a person would write it.
func Example(k scenario.Kind) string {
	if k == scenario.Ask {
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

// words returns the words of the language that stand for values.
func words[T fmt.Stringer](values ...T) []string {
	out := make([]string, len(values))
	for i, v := range values {
		out[i] = v.String()
	}
	return out
}

func kindNamed(name string) (scenario.Kind, bool) {
	for _, k := range scenario.Kinds() {
		if k.String() == name {
			return k, true
		}
	}
	return 0, false
}
