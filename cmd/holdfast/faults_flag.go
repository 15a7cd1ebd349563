package main

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"holdfast/sim"
)

// faultsFlag is --fault NAME=SEVERITY, repeatable: which faults a simulated unit has.
type faultsFlag struct{ severity map[string]float64 }

var _ pflag.Value = (*faultsFlag)(nil)

// Map returns the severity (0..1) by name; empty when the flag was not given.
func (f *faultsFlag) Map() map[string]float64 { return maps.Clone(f.severity) }

// Set takes one NAME=SEVERITY.
func (f *faultsFlag) Set(text string) error {
	name, number, found := strings.Cut(text, "=")
	if !found {
		return fmt.Errorf("%q is not NAME=SEVERITY: try %s=0.6", text, sim.FaultNames()[0])
	}
	if !slices.Contains(sim.FaultNames(), name) {
		return fmt.Errorf("no fault is named %q: the bench knows %s", name, strings.Join(sim.FaultNames(), ", "))
	}
	severity, err := strconv.ParseFloat(number, 64)
	if err != nil || !(severity >= 0 && severity <= 1) {
		return fmt.Errorf("severity %q of %s: write a number from 0 (none) to 1 (worst)", number, name)
	}
	if _, twice := f.severity[name]; twice {
		return fmt.Errorf("%s is given twice", name)
	}
	if f.severity == nil {
		f.severity = map[string]float64{}
	}
	f.severity[name] = severity
	return nil
}

// String returns what was given, in order of name.
func (f *faultsFlag) String() string {
	var parts []string
	for _, name := range slices.Sorted(maps.Keys(f.severity)) {
		parts = append(parts, fmt.Sprintf("%s=%g", name, f.severity[name]))
	}
	return strings.Join(parts, ",")
}

// Type names the value in the help text.
func (f *faultsFlag) Type() string { return "NAME=SEVERITY" }
