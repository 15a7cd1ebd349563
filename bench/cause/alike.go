package cause

import (
	"fmt"
	"strings"
)

// pair is two causes that look alike while they are slight, or on a rig that shows little, with what parts them
// at the bench.
type pair struct{ a, b, parts string }

var pairs = [...]pair{
	{"heater-open", "heater-protection",
		"let it cool and measure again: a protection closes, a burnt element does not"},
	{"doser-drip", "doser-stuck-open", "both are at the dosing valve: look at its needle and its seat"},
	{"doser-stuck-shut", "doser-blocked", "both are at the dosing valve: listen whether it clicks, then clean it"},
	{"membrane-split", "outlet-valve-leak", "both are in the pump head: open it once and look at both"},
	{"pump-worn", "inlet-valve-leak", "both are in the pump head: open it once and look at both"},
	{"membrane-split", "return-valve-reverse",
		"the directional valve comes out more easily than the pump head: look at its spool first"},
	{"filter-blocked", "inlet-blocked", "change the filters before anything is opened"},
	{"inlet-blocked", "return-valve-reverse", "look at the suction side first: it needs no opening of the unit"},
	{"inlet-blocked", "inlet-valve-leak", "look at the suction side first: it needs no opening of the unit"},
	{"inlet-blocked", "pump-worn", "look at the suction side first: it needs no opening of the unit"},
	{"inlet-blocked", "suction-air", "both are on the suction side: look at filter, line and fittings"},
	{"sensor-offset", "sensor-gain", "both are the sensor, once its supply is known to be good"},
	{"sensor-offset", "sensor-supply-lost", "measure the supply at the plug before the sensor is replaced"},
	{"sensor-gain", "sensor-supply-lost", "measure the supply at the plug before the sensor is replaced"},
}

// From when two causes count as not told apart: together they are as good as certain, and neither is.
const (
	togetherFrom = 0.8
	secondFrom   = 0.25
)

// sayAlike says of the first two causes, where that is so, that this run cannot tell them apart, and what would.
func sayAlike(ranked []Cause) {
	if len(ranked) < 2 {
		return
	}
	first, second := &ranked[0], &ranked[1]
	if sayInstrument(first, second) {
		return
	}
	if second.Probability < secondFrom || first.Probability+second.Probability < togetherFrom {
		return
	}
	for _, p := range pairs {
		if first.Name == p.a && second.Name == p.b || first.Name == p.b && second.Name == p.a {
			first.Like, second.Like = second.Name, first.Name
			first.OpenFirst = strings.TrimSuffix(first.OpenFirst, ".") + ". It may also be: " + second.Title +
				"; " + p.parts + "."
		}
	}
}

// instrumentFrom is from when a second cause that is an instrument of the bench is told beside the first.
const instrumentFrom = 0.1

// sayInstrument says of the first two causes, where one of them is an instrument of the bench, which one check at the
// bench parts them.
func sayInstrument(first, second *Cause) bool {
	if second.Probability < instrumentFrom {
		return false
	}
	in, other := second, first
	if _, ok := Instrument(in.Name); !ok {
		in, other = first, second
		if _, ok := Instrument(in.Name); !ok {
			return false
		}
	}
	first.Like, second.Like = second.Name, first.Name
	check := strings.TrimSuffix(strings.TrimPrefix(in.OpenFirst, "Open nothing: "), ".")
	text := fmt.Sprintf("First, to part %s from %s: %s.", strings.TrimPrefix(in.Title, "the bench: "),
		strings.TrimPrefix(other.Title, "the bench: "), check)
	if first == in {
		first.OpenFirst = text
	} else {
		first.OpenFirst = text + " " + first.OpenFirst
	}
	return true
}
