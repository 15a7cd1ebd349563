package lies

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"holdfast/bench/yamltext"
	"holdfast/j1939/unit"
	"holdfast/sim/lie"
)

// disobedience is a node that does not obey, as lies of its commands and of what it says of its outputs.
type disobedience struct {
	name, text string
	lies       []string
}

// Disobediences are the ways in which a node does not obey that have a name of their own.
var disobediences = []disobedience{
	{"pump-not-off", "the pump is never driven with less than 20 %", []string{"set_pump_drive=floored:20 %"}},
	{"valve-stuck", "the return valve stays energised, and no coil current is seen",
		[]string{"set_return_valve=stuck:1", "return_valve_current=stuck:0 A"}},
	{"shutoff-not-seen", "the return shut-off works and is never seen shut", []string{"return_shutoff_state=stuck:0"}},
	{"dosing-ignored", "the dosing valve is never opened", []string{"set_dosing_duty=stuck:0 %"}},
}

// Parse reads one lie: TARGET=KIND[:SIZE][@FROM..TO], or the name of a disobedience with [@FROM..TO].
func Parse(table []lie.Signal, text string) ([]lie.Lie, error) {
	what, when, timed := strings.Cut(text, "@")
	parts := []string{strings.TrimSpace(what)}
	if d := disobedienceNamed(parts[0]); d != nil {
		parts = d.lies
	}
	var all []lie.Lie
	for _, part := range parts {
		l, err := parseOne(table, part)
		if err == nil && timed {
			l.From, l.To, err = window(when)
		}
		if err != nil {
			return nil, fmt.Errorf("lie %q: %w", text, err)
		}
		l.Text = text
		all = append(all, l)
	}
	return all, nil
}

// ParseAll reads several.
func ParseAll(table []lie.Signal, texts []string) ([]lie.Lie, error) {
	var all []lie.Lie
	for _, text := range texts {
		some, err := Parse(table, text)
		if err != nil {
			return nil, err
		}
		all = append(all, some...)
	}
	return all, nil
}

// Fitting reads those that a rig has the channels for; the error is of the first that it has not.
func Fitting(table []lie.Signal, texts []string) (all []lie.Lie, err error) {
	for _, text := range texts {
		some, misfit := Parse(table, text)
		all = append(all, some...)
		if err == nil {
			err = misfit
		}
	}
	return all, err
}

func disobedienceNamed(name string) *disobedience {
	for i := range disobediences {
		if disobediences[i].name == name {
			return &disobediences[i]
		}
	}
	return nil
}

func parseOne(table []lie.Signal, text string) (lie.Lie, error) {
	name, how, ok := strings.Cut(text, "=")
	if !ok {
		return lie.Lie{}, fmt.Errorf("write CHANNEL=KIND, with :SIZE and @FROM..TO where wanted, or one of %s",
			strings.Join(disobedienceNames(), ", "))
	}
	l := lie.Lie{Signal: find(table, strings.TrimSpace(name))}
	if l.Signal == nil {
		return l, fmt.Errorf("the rig has no channel or command %q: %s", name, yamltext.DidYouMean(name, names(table)))
	}
	kind, size, sized := strings.Cut(how, ":")
	if l.Kind = lie.KindNamed(strings.TrimSpace(kind)); l.Kind == nil {
		return l, fmt.Errorf("no kind of lie is named %q: %s", kind, yamltext.DidYouMean(kind, kindNames()))
	}
	l.Sized = sized
	return l, readSize(&l, table, strings.TrimSpace(size))
}

// readSize reads a size with its unit into a lie.
func readSize(l *lie.Lie, table []lie.Signal, size string) (err error) {
	switch k := l.Kind; {
	case k.Size == lie.NoSize && l.Sized:
		return fmt.Errorf("%s has no size", k.Name)
	case k.Size == lie.NoSize, k.Name == "stuck" && !l.Sized:
		return nil
	case !l.Sized && (k.Name == "missing" || k.Name == "error" || k.Name == "dropped" || k.Name == "doubled"):
		l.Size = 100
		return nil
	case !l.Sized:
		return fmt.Errorf("%s needs a size: %s=%s:%s", k.Name, l.Signal.Name, k.Name, example(l))
	}
	switch l.Kind.Size {
	case lie.AnotherName:
		l.Other = find(table, size)
		if l.Other == nil || l.Other == l.Signal {
			return fmt.Errorf("the rig has no other channel %q: %s", size, yamltext.DidYouMean(size, names(table)))
		}
	case lie.ATime:
		l.Span, err = unit.Duration(size)
		if err == nil && (l.Span <= 0 || l.Span > time.Hour) {
			err = fmt.Errorf("%s: write a time above 0, at most 1 h", size)
		}
	case lie.InPercent:
		l.Size, err = unit.ParseAs(unit.Ratio, size)
	case lie.AReading:
		l.Size, err = quantity(l.Signal.Unit, size)
	case lie.InUnit:
		l.Size, err = quantity(distance(l.Signal.Unit), size)
	case lie.InUnitPerMin:
		l.Size, err = quantity(distance(l.Signal.Unit), strings.TrimSuffix(size, "/min"))
	}
	if err == nil && l.Kind.Name == "quantised" && !(l.Size > 0) {
		err = fmt.Errorf("%s: write a step above 0", size)
	}
	return err
}

// distance is the unit of a difference.
func distance(of string) string {
	if of == "°C" {
		return "K"
	}
	return of
}

// quantity reads a number with its unit; a state is a bare number.
func quantity(of, text string) (float64, error) {
	if of == "" {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || math.IsNaN(v) || v < 0 || v > 255 {
			return 0, fmt.Errorf("%q is not a state: write a number such as 0 or 1", text)
		}
		return v, nil
	}
	d, ok := unit.Of(of)
	if of == "K" { // a distance, not a point on the scale
		d, ok = unit.TemperatureDifference, true
	}
	if !ok {
		return 0, fmt.Errorf("a quantity in %s cannot be typed", of)
	}
	return unit.ParseAs(d, text)
}

// window reads FROM..TO, FROM.. or FROM.
func window(text string) (from, to time.Duration, err error) {
	first, last, ranged := strings.Cut(text, "..")
	if from, err = unit.Duration(strings.TrimSpace(first)); err != nil {
		return 0, 0, err
	}
	if last = strings.TrimSpace(last); ranged && last != "" {
		if to, err = unit.Duration(last); err != nil {
			return 0, 0, err
		}
	}
	if from < 0 || to != 0 && to <= from {
		return 0, 0, fmt.Errorf("@%s: write FROM..TO with the earlier first, for example 120 s..130 s", text)
	}
	return from, to, nil
}

func find(table []lie.Signal, name string) *lie.Signal {
	for i := range table {
		if table[i].Name == name {
			return &table[i]
		}
	}
	return nil
}
