package lockstep

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Setup is what a hello asks for and a welcome answers: which unit on which bench.
type Setup struct {
	Name   string             // who simulates; of a welcome only
	Seed   *uint64            // nil: not asked for
	Faults map[string]float64 // severity 0..1 by name
	Unit   string             // bare or controller; "": not asked for
	Set    map[string]string  // whatever else a peer knows
}

// Text is the setup as lines of key=value, in an order of its own.
func (s *Setup) Text() []byte {
	var b strings.Builder
	if s.Name != "" {
		fmt.Fprintf(&b, "name=%s\n", s.Name)
	}
	if s.Seed != nil {
		fmt.Fprintf(&b, "seed=%d\n", *s.Seed)
	}
	for _, name := range slices.Sorted(maps.Keys(s.Faults)) {
		fmt.Fprintf(&b, "fault=%s=%s\n", name, strconv.FormatFloat(s.Faults[name], 'g', -1, 64))
	}
	if s.Unit != "" {
		fmt.Fprintf(&b, "unit=%s\n", s.Unit)
	}
	for _, key := range slices.Sorted(maps.Keys(s.Set)) {
		fmt.Fprintf(&b, "set=%s=%s\n", key, s.Set[key])
	}
	return []byte(b.String())
}

// ParseSetup reads lines of key=value. Its errors name the line.
func ParseSetup(text []byte) (Setup, error) {
	var s Setup
	if len(text) == 0 {
		return s, nil
	}
	if !utf8.Valid(text) || text[len(text)-1] != '\n' {
		return s, fmt.Errorf("%d bytes are not lines of UTF-8 that end with LF", len(text))
	}
	for i, line := range strings.Split(strings.TrimSuffix(string(text), "\n"), "\n") {
		if err := s.take(line); err != nil {
			return Setup{}, fmt.Errorf("line %d: %w", i+1, err)
		}
	}
	return s, nil
}

func (s *Setup) take(line string) error {
	key, value, ok := strings.Cut(line, "=")
	if !ok || value == "" || strings.ContainsFunc(line, unicode.IsControl) {
		return fmt.Errorf("%q is not key=value", line)
	}
	switch key {
	case "name":
		s.Name = value
	case "seed":
		seed, err := strconv.ParseUint(value, 10, 64)
		if err != nil {
			return fmt.Errorf("seed %q is not a whole number of 64 bits", value)
		}
		s.Seed = &seed
	case "fault":
		name, text, _ := strings.Cut(value, "=")
		severity, err := strconv.ParseFloat(text, 64)
		if err != nil || name == "" || !(severity >= 0 && severity <= 1) {
			return fmt.Errorf("fault %q: NAME=SEVERITY with a severity of 0 to 1 would do", value)
		}
		if s.Faults == nil {
			s.Faults = map[string]float64{}
		}
		s.Faults[name] = severity
	case "unit":
		if value != "bare" && value != "controller" {
			return fmt.Errorf("unit %q: bare or controller would do", value)
		}
		s.Unit = value
	case "set":
		name, text, ok := strings.Cut(value, "=")
		if !ok || name == "" {
			return fmt.Errorf("set %q: KEY=VALUE would do", value)
		}
		if s.Set == nil {
			s.Set = map[string]string{}
		}
		s.Set[name] = text
	default:
		return fmt.Errorf("key %q is not known: name, seed, fault, unit and set are", key)
	}
	return nil
}
