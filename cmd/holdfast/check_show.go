package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"holdfast/bench/predict"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/cmd/holdfast/console"
	"holdfast/j1939/unit"
)

const checkSchema = "holdfast/check/1"

// checkAnswer is what check prints with --json.
type checkAnswer struct {
	Schema     string          `json:"schema"`
	OK         bool            `json:"ok"`
	Problems   []checkProblem  `json:"problems"`
	Scenario   string          `json:"scenario,omitempty"`
	Rig        string          `json:"rig,omitempty"`
	Rule       string          `json:"decision_rule,omitempty"`
	LimitsFrom string          `json:"limits_from,omitempty"`
	Longest    float64         `json:"longest_s,omitempty"`
	Steps      []checkStep     `json:"steps,omitempty"`
	Limits     []checkLimit    `json:"limits,omitempty"`
	Prospects  []checkProspect `json:"prospects,omitempty"`
	Channels   []checkChannel  `json:"channels,omitempty"`
	Warnings   []string        `json:"warnings,omitempty"`
}

type checkProblem struct {
	File   string `json:"file,omitempty"`
	Line   int    `json:"line,omitempty"`
	Column int    `json:"column,omitempty"`
	Found  string `json:"found"`
	Do     string `json:"do,omitempty"`
}

type checkStep struct {
	Name    string  `json:"name"`
	Kind    string  `json:"kind"`
	Longest float64 `json:"longest_s"`
}

type checkLimit struct {
	Name           string   `json:"name"`
	At             string   `json:"at,omitempty"`
	Lower          *float64 `json:"lower_limit"`
	Upper          *float64 `json:"upper_limit"`
	Unit           string   `json:"unit"`
	ControllerOnly bool     `json:"controller_only,omitempty"`
}

type checkChannel struct {
	Name       string  `json:"name"`
	Unit       string  `json:"unit"`
	Accuracy   string  `json:"accuracy,omitempty"`
	Every      float64 `json:"every_s"`
	Calibrated string  `json:"calibrated,omitempty"`
	Due        string  `json:"due,omitempty"`
	PartOfUnit bool    `json:"part_of_unit,omitempty"`
}

func (a *checkAnswer) describe(p *scenario.Plan, r *rig.Rig, now time.Time) {
	a.Scenario, a.Rig, a.Rule, a.LimitsFrom = p.Name, r.Name, p.Rule.String(), p.LimitsFrom
	a.Longest, a.Warnings = p.Longest().Seconds(), checkWarnings(p, r, now)
	for _, s := range p.Steps {
		a.Steps = append(a.Steps, checkStep{s.Name, s.Kind.String(), s.Longest().Seconds()})
	}
	for _, l := range p.Limits {
		a.Limits = append(a.Limits, checkLimit{l.Characteristic, l.At, l.Lower, l.Upper, l.Unit, l.ControllerOnly})
	}
	for _, in := range r.Channels {
		if in != nil {
			a.Channels = append(a.Channels, checkChannel{in.Channel.String(), in.Channel.Unit(), accuracyText(in),
				in.Every.Seconds(), day(in.Calibrated), day(in.Due), in.PartOfUnit})
		}
	}
}

// showCheck writes the overview for a person.
func showCheck(out io.Writer, p *scenario.Plan, r *rig.Rig, now time.Time) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "%s on %s: nothing wrong\n", p.Title, r.Title)
	fmt.Fprintf(w, "\nSteps (at most %s)\n", console.Duration(p.Longest()))
	for i, s := range p.Steps {
		fmt.Fprintf(w, "  %2d\t%s\t%s\n", i+1, s.Name, stepTime(s))
	}
	all := predict.Limits(p, r)
	showProspects(w, p, r, all)
	fmt.Fprintf(w, "\nChannels (accuracy expanded, k = 2)\n")
	for _, in := range r.Channels {
		if in != nil && !in.Channel.IsState() {
			fmt.Fprintf(w, "  %s\t%s\tevery %s\t%s\n", in.Channel, accuracyText(in), console.Duration(in.Every), calibrationText(in))
		}
	}
	if warnings := checkWarnings(p, r, now); len(warnings) > 0 {
		fmt.Fprintf(w, "\nBefore you run it\n  %s\n", strings.Join(warnings, "\n  "))
	}
	if err := w.Flush(); err != nil {
		return err
	}
	if err := hopeless(p, r, all); err != nil {
		return withStatus(exitUndecided, err)
	}
	return nil
}

// showProspects writes the limits with what each can come to.
func showProspects(w io.Writer, p *scenario.Plan, r *rig.Rig, all []predict.Prospect) {
	fmt.Fprintf(w, "\nLimits (from: %s; rule: %s) and how well they will be known (U, k = 2)\n", p.LimitsFrom,
		p.Rule)
	for _, x := range all {
		u, text := prospectText(x)
		if u != "" {
			u = "± " + u
		}
		l := x.Limit
		fmt.Fprintf(w, "  %s\t%s\t%s\t%s\n", strings.TrimSpace(l.Characteristic+" "+l.At), limitText(l), u, text)
	}
	for _, l := range p.Limits {
		if l.ControllerOnly && r.Kind != rig.Controller {
			fmt.Fprintf(w, "  %s\t%s\t\tonly for units with a controller\n", l.Characteristic, limitText(l))
		}
	}
}

func stepTime(s scenario.Step) string {
	if s.Timeout > 0 {
		return "up to " + console.Duration(s.Timeout)
	}
	return console.Duration(s.Longest())
}

func limitText(l scenario.Limit) string {
	if len(l.Words) > 0 {
		return "the answer " + strings.Join(l.Words, " or ")
	}
	symbol := l.Unit
	if symbol == "" {
		symbol = "codes"
	}
	switch {
	case l.Lower != nil && l.Upper != nil:
		return fmt.Sprintf("%s to %s", unit.Text(*l.Lower, ""), unit.Text(*l.Upper, symbol))
	case l.Lower != nil:
		return "at least " + unit.Text(*l.Lower, symbol)
	}
	return "at most " + unit.Text(*l.Upper, symbol)
}

func accuracyText(in *rig.Instrument) string {
	a, symbol := in.Accuracy, in.Channel.Unit()
	if symbol == "°C" {
		symbol = "K"
	}
	var parts []string
	if a.OfReading > 0 {
		parts = append(parts, unit.Text(a.OfReading, "%")+" of reading")
	}
	if a.OfSpan > 0 {
		parts = append(parts, unit.Text(a.OfSpan, "%")+" of "+unit.Text(a.Span, symbol))
	}
	if a.Absolute > 0 {
		parts = append(parts, unit.Text(a.Absolute, symbol))
	}
	return strings.Join(parts, " + ")
}

func calibrationText(in *rig.Instrument) string {
	if in.PartOfUnit {
		return "part of the unit under test"
	}
	return "calibrated " + day(in.Calibrated) + ", due " + day(in.Due)
}

func day(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.DateOnly)
}
