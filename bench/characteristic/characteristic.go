// Package characteristic is the registry of what a run measures of a unit: the one place that says of each
// characteristic what it is called, in which unit it is held, what it tells, what it needs of a plan and of a
// bench, and which values are physically possible. The table in scenarios/README.md, the limits in the JSON Schema
// of scenarios, shell completion, the order of reports and the search for lying instruments all come from it.
//
// It measures nothing: bench/measure has a method for each entry, and a test there fails when one lacks it.
package characteristic

import (
	"math"
	"slices"

	"holdfast/bench/rig"
	"holdfast/bench/scenario"
)

// Characteristic is one property of a unit that a run measures and a plan can set a limit to.
type Characteristic struct {
	Name       string
	Unit       string // of values and limits; "" for a count
	Text       string // definition in words
	Steps      []scenario.Kind
	Channels   []scenario.AnyOf
	Uses       []rig.Channel // what it is read off besides, where the bench has it
	Commands   []rig.Command
	SetPoints  bool // one value for each dose step, told apart by its duty
	Controller bool // only a unit with its own controller has it
	Possible   Bound
	// SaysOfBench: it depends little on the unit's wear, its temperature or how full the line was, so that a golden
	// unit's value of it tells something of the bench. Our choice, no source.
	SaysOfBench bool
}

// Bound is what values physics allows: a true value outside cannot be, whatever the state of the unit. Both ends are
// in the characteristic's unit; an infinite one is open.
type Bound struct {
	Low, High float64
	Why       string // why nothing can lie outside; "" where both ends are open
	// Rig gives an upper end that depends on the bench; nil: High holds.
	Rig func(*rig.Rig) float64
}

// Ends returns the two ends of what is possible on a bench.
func (b Bound) Ends(r *rig.Rig) (low, high float64) {
	if b.Rig != nil {
		return b.Low, b.Rig(r)
	}
	return b.Low, b.High
}

// anything is the bound of what the unit itself may report wrongly: its own sensor is under test.
var anything = Bound{Low: math.Inf(-1), High: math.Inf(1)}

// amount is the bound of what cannot be below nothing.
func amount(why string) Bound { return Bound{Low: 0, High: math.Inf(1), Why: why} }

// Bounds that several entries share.
var (
	elapsed    = amount("an effect does not come before its cause")
	gauge      = Bound{Low: -1.1, High: math.Inf(1), Why: "gauge pressure cannot be below a vacuum at the highest barometer, -1.1 bar"}
	resistance = amount("a passive load has no negative resistance")
)

var (
	pressure = scenario.AnyOf{rig.ReferencePressure, rig.LinePressure}
	voltage  = scenario.AnyOf{rig.UnitVoltage, rig.SupplyVoltage}
)

func one(c rig.Channel) scenario.AnyOf { return scenario.AnyOf{c} }

// All is every characteristic, in the order of reports.
var All = slices.Concat(sensor, build, hold, fluid, purge, electrics, controller)

// Of returns the characteristic of a name.
func Of(name string) (Characteristic, bool) {
	if i, ok := places[name]; ok {
		return All[i], true
	}
	return Characteristic{}, false
}

// Names returns the names of all characteristics, in the order of reports.
func Names() []string {
	names := make([]string, len(All))
	for i, c := range All {
		names[i] = c.Name
	}
	return names
}

var places = func() map[string]int {
	m := make(map[string]int, len(All))
	for i, c := range All {
		m[c.Name] = i
	}
	return m
}()

// Reads reports whether a characteristic is read off a channel, by itself or as one of several.
func (c Characteristic) Reads(ch rig.Channel) bool {
	return slices.ContainsFunc(c.Channels, func(a scenario.AnyOf) bool { return slices.Contains(a, ch) })
}

// Readers returns the channels that a characteristic is read from on a bench: of several that would do the first that
// the bench has, what it uses besides, and the barometer where a pressure is sent as absolute.
func (c Characteristic) Readers(r *rig.Rig) (all []rig.Channel) {
	add := func(ch rig.Channel) {
		if !slices.Contains(all, ch) {
			all = append(all, ch)
		}
	}
	for _, any := range c.Channels {
		if i := slices.IndexFunc(any, func(ch rig.Channel) bool { return r.Channels[ch] != nil }); i >= 0 {
			add(any[i])
		}
	}
	for _, ch := range c.Uses {
		if r.Channels[ch] != nil {
			add(ch)
		}
	}
	for _, ch := range all {
		if in := r.Channels[ch]; in != nil && in.Signal.Absolute {
			add(rig.AmbientPressure)
		}
	}
	return all
}
