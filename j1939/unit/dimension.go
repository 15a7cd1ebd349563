// Package unit reads and writes quantities with their units as people at a bench write them:
// "9 bar", "250 mL/min", "45 %", "3.6 g/h". A bare number is refused, an unknown unit is
// answered with the units that would do.
//
// Every dimension has one base unit (the one on screen and in files); values are held in it as
// float64. A value written in its base unit is held exactly as strconv reads it. Factors between
// units are exact by definition (SI Brochure, 9th edition; bar and min, h, L as accepted
// non-SI units, its table 8).
//
// It does no dimensional arithmetic: it is a door for text, not a calculus of units.
package unit

import (
	"fmt"
	"strings"
)

// Dimension is the kind of quantity that a number measures.
type Dimension uint8

// The dimensions of the bench, each with its base unit.
const (
	Pressure              Dimension = iota // bar; gauge or absolute is said by the key that holds it
	Flow                                   // mL/min
	Volume                                 // mL
	Mass                                   // g
	MassRate                               // g/min
	Ratio                                  // %
	Temperature                            // °C, a point on the scale
	TemperatureDifference                  // K, a distance on the scale: an error, a drift
	Voltage                                // V
	Current                                // A
	Resistance                             // ohm
	Time                                   // s
	Area                                   // mm2
	Compliance                             // mL/bar
	Speed                                  // r/min
	Frequency                              // Hz
	PressureRate                           // bar/s
	Gain                                   // %/bar
	Slew                                   // %/s
	Length                                 // m
	Torque                                 // Nm
	Content                                // ppm, of a gas by volume
	RoadSpeed                              // km/h
	numDimensions         = iota
)

// symbol is one way to write a unit: base = (value*mul)/div + add. Two numbers instead of one
// quotient keep decimal steps exact: 10 ms is 10/1000 s, correctly rounded, not 10*0.001.
type symbol struct {
	text          string
	mul, div, add float64
}

var dimensions = [numDimensions]struct {
	name    string
	symbols []symbol // the base unit first
}{
	Pressure: {"pressure", []symbol{{"bar", 1, 1, 0}, {"kPa", 1, 100, 0}, {"Pa", 1, 1e5, 0},
		{"mbar", 1, 1000, 0}, {"hPa", 1, 1000, 0}, {"MPa", 10, 1, 0}}},
	Flow:   {"flow", []symbol{{"mL/min", 1, 1, 0}, {"L/h", 1000, 60, 0}, {"L/min", 1000, 1, 0}, {"mL/s", 60, 1, 0}}},
	Volume: {"volume", []symbol{{"mL", 1, 1, 0}, {"L", 1000, 1, 0}}},
	Mass:   {"mass", []symbol{{"g", 1, 1, 0}, {"kg", 1000, 1, 0}, {"mg", 1, 1000, 0}}},
	MassRate: {"mass rate", []symbol{{"g/min", 1, 1, 0}, {"g/h", 1, 60, 0}, {"kg/h", 1000, 60, 0},
		{"mg/s", 60, 1000, 0}}},
	Ratio: {"ratio", []symbol{{"%", 1, 1, 0}}},
	Temperature: {"temperature", []symbol{{"°C", 1, 1, 0}, {"degC", 1, 1, 0}, {"deg C", 1, 1, 0},
		{"K", 1, 1, -273.15}}},
	TemperatureDifference: {"temperature difference", []symbol{{"K", 1, 1, 0}, {"°C", 1, 1, 0}, {"degC", 1, 1, 0}}},
	Voltage:               {"voltage", []symbol{{"V", 1, 1, 0}, {"mV", 1, 1000, 0}}},
	Current:               {"current", []symbol{{"A", 1, 1, 0}, {"mA", 1, 1000, 0}}},
	Resistance: {"resistance", []symbol{{"ohm", 1, 1, 0}, {"Ω", 1, 1, 0}, {"mohm", 1, 1000, 0}, {"mΩ", 1, 1000, 0},
		{"kohm", 1000, 1, 0}, {"kΩ", 1000, 1, 0}, {"Mohm", 1e6, 1, 0}, {"MΩ", 1e6, 1, 0}}},
	Time:         {"time", []symbol{{"s", 1, 1, 0}, {"ms", 1, 1000, 0}, {"min", 60, 1, 0}, {"h", 3600, 1, 0}}},
	Area:         {"area", []symbol{{"mm2", 1, 1, 0}, {"mm²", 1, 1, 0}}},
	Compliance:   {"compliance", []symbol{{"mL/bar", 1, 1, 0}}},
	Speed:        {"speed", []symbol{{"r/min", 1, 1, 0}, {"rpm", 1, 1, 0}, {"1/min", 1, 1, 0}, {"r/s", 60, 1, 0}}},
	Frequency:    {"frequency", []symbol{{"Hz", 1, 1, 0}, {"kHz", 1000, 1, 0}}},
	PressureRate: {"pressure rate", []symbol{{"bar/s", 1, 1, 0}, {"bar/min", 1, 60, 0}, {"kPa/s", 1, 100, 0}}},
	Gain:         {"gain", []symbol{{"%/bar", 1, 1, 0}}},
	Slew:         {"slew", []symbol{{"%/s", 1, 1, 0}}},
	Length:       {"length", []symbol{{"m", 1, 1, 0}, {"mm", 1, 1000, 0}}},
	Content:      {"content", []symbol{{"ppm", 1, 1, 0}}},
	RoadSpeed:    {"road speed", []symbol{{"km/h", 1, 1, 0}, {"m/s", 3600, 1000, 0}}},
	Torque:       {"torque", []symbol{{"Nm", 1, 1, 0}, {"N·m", 1, 1, 0}, {"N m", 1, 1, 0}}},
}

// String returns the dimension's name: "mass rate".
func (d Dimension) String() string {
	if d < numDimensions {
		return dimensions[d].name
	}
	return fmt.Sprintf("dimension %d", uint8(d))
}

// Base returns the unit in which values of the dimension are held.
func (d Dimension) Base() string { return dimensions[d].symbols[0].text }

// Symbols returns every way to write a unit of the dimension, the base unit first.
func (d Dimension) Symbols() []string {
	out := make([]string, len(dimensions[d].symbols))
	for i, s := range dimensions[d].symbols {
		out[i] = s.text
	}
	return out
}

// Of returns the dimension that a unit belongs to. "K" and "°C" are points on the
// temperature scale here; ask ParseAs for a TemperatureDifference.
func Of(symbolText string) (Dimension, bool) {
	symbolText = tidy(symbolText)
	for d := range Dimension(numDimensions) {
		if _, ok := d.find(symbolText); ok {
			return d, true
		}
	}
	return 0, false
}

// Linear is how a number in some unit becomes one in the dimension's base unit: v*Mul/Div + Add.
type Linear struct{ Mul, Div, Add float64 }

// Apply converts one number to the base unit.
func (l Linear) Apply(v float64) float64 { return v*l.Mul/l.Div + l.Add }

// FromBase converts a number in the base unit back.
func (l Linear) FromBase(base float64) float64 { return (base - l.Add) * l.Div / l.Mul }

// ToBase returns the conversion from a unit of d to d's base unit; false when the unit is
// not one of d's.
func (d Dimension) ToBase(symbolText string) (Linear, bool) {
	s, ok := d.find(tidy(symbolText))
	return Linear{s.mul, s.div, s.add}, ok
}

func (d Dimension) find(text string) (symbol, bool) {
	if d >= numDimensions {
		return symbol{}, false
	}
	for _, s := range dimensions[d].symbols {
		if s.text == text {
			return s, true
		}
	}
	return symbol{}, false
}

// tidy brings spellings that mean the same to the one in the table: l for L (both are
// symbols of the litre), the ohm sign for the Greek
// letter, the ordinal sign for the degree, a degree written apart.
var spellings = strings.NewReplacer("ml", "mL", "l/", "L/",
	"\u2126", "\u03a9", "\u00ba", "\u00b0", "\u00b0 C", "\u00b0C", "mm^2", "mm2")

func tidy(text string) string {
	text = strings.TrimSpace(text)
	if text == "l" {
		return "L"
	}
	return spellings.Replace(text)
}
