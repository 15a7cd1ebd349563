package scenariofile

import (
	"fmt"
	"math"
	"time"

	"holdfast/bench/control"
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

// read reads one key of a step into it.
func read(f *yamltext.Fields, k control.Key, s *scenario.Step) {
	switch k.Field {
	case control.Duration:
		s.Duration = length(f, k)
	case control.Settle:
		s.Settle = length(f, k)
	case control.Timeout:
		s.Timeout = length(f, k)
	case control.Stays:
		s.Stays = length(f, k)
	case control.Pulse:
		s.Pulse = length(f, k)
	case control.Drive:
		s.Drive = quantity(f, k, unit.Ratio, yamltext.Range{Min: 1, Max: 100})
	case control.Duty:
		s.Duty = quantity(f, k, unit.Ratio, yamltext.Range{Min: math.SmallestNonzeroFloat64, Max: 100})
	case control.Pressure:
		s.Pressure = quantity(f, k, unit.Pressure, yamltext.Range{Min: 0.05, Max: highestPressure})
	case control.Band:
		s.Band = quantity(f, k, unit.Ratio, yamltext.Range{Min: 0.1, Max: 50})
	}
}

func length(f *yamltext.Fields, k control.Key) time.Duration {
	if k.Optional {
		return f.DurationOr(k.Word, longestStep, time.Duration(k.Otherwise*float64(time.Second)))
	}
	return f.Duration(k.Word, longestStep, k.Example)
}

func quantity(f *yamltext.Fields, k control.Key, d unit.Dimension, within yamltext.Range) float64 {
	if k.Optional {
		return f.QuantityOr(k.Word, d, within, k.Otherwise)
	}
	v, _ := f.Quantity(k.Word, d, within, k.Example)
	return v
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
