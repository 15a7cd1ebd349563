package scenariofile

import (
	"fmt"
	"slices"

	"holdfast/bench/characteristic"
	"holdfast/bench/control"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/bench/yamltext"
)

// Fits reports whether a bench can run a plan: what it lacks for a step or a limit, pressures
// that reach its guard, drives beyond its actuators. Everything at once, as
// yamltext.Problems in the scenario file.
func Fits(p *scenario.Plan, r *rig.Rig) error {
	c := &fit{plan: p, rig: r}
	c.guard()
	for _, s := range p.Steps {
		c.step(s)
	}
	for _, l := range p.Limits {
		c.limit(l)
	}
	return c.problems.Err()
}

type fit struct {
	plan     *scenario.Plan
	rig      *rig.Rig
	problems yamltext.Problems
}

func (c *fit) add(line, column int, found, do string) {
	p := yamltext.Problem{Path: c.plan.Path, Line: line, Column: column, Found: found, Do: do}
	if !slices.Contains(c.problems, p) {
		c.problems = append(c.problems, p)
	}
}

// guard: a plan may tighten the bench's limit and never loosen it.
func (c *fit) guard() {
	if c.plan.MaxPressure > c.rig.Guard.MaxPressure {
		c.add(1, 1, fmt.Sprintf("max_pressure %g bar is above the guard of rig %s, %g bar", c.plan.MaxPressure,
			c.rig.Name, c.rig.Guard.MaxPressure),
			"a plan may tighten the guard, never loosen it")
	}
}

func (c *fit) step(s scenario.Step) {
	n := control.NeedsOf(s)
	c.lacking(s.Line, s.Column, s.Kind.String()+" step", n.Commands, n.Channels)
	if p := control.Fits(s, c.rig); p.Found != "" {
		c.add(s.Line, s.Column, p.Found, p.Do)
	}
	if guard := c.rig.Guard.MaxPressure; s.Pressurises() && s.Pressure*(1+s.Band/100) >= guard {
		c.add(s.Line, s.Column, fmt.Sprintf("%s at %g bar reaches the guard of rig %s, %g bar", s.Kind,
			s.Pressure, c.rig.Name, guard),
			"ask for less: the interlock would trip")
	}
	c.beyond(s, rig.SetPumpDrive, s.Drive)
	c.beyond(s, rig.SetDosingDuty, s.Duty)
}

func (c *fit) beyond(s scenario.Step, command rig.Command, value float64) {
	a := c.rig.Commands[command]
	if a != nil && value != 0 && (value < a.Min || value > a.Max) {
		c.add(s.Line, s.Column, fmt.Sprintf("%s: %s %g %%", s.Kind, command, value),
			fmt.Sprintf("rig %s can do %g to %g %%", c.rig.Name, a.Min, a.Max))
	}
}

// limit: what is not measured can never pass, so a limit that this bench cannot measure is a
// mistake now and not a disappointment after the run.
func (c *fit) limit(l scenario.Limit) {
	ch, ok := characteristic.Of(l.Characteristic)
	if !ok || (l.ControllerOnly && c.rig.Kind != rig.Controller) {
		return
	}
	c.lacking(l.Line, l.Column, l.Characteristic, ch.Commands, ch.Channels)
	switch {
	case l.Characteristic == characteristic.PurgeResidual && c.rig.LineVolume.Value == 0:
		c.add(l.Line, l.Column, "purge_residual needs line_volume", "state it in rig "+c.rig.Name)
	case l.Characteristic == characteristic.DosingError && c.rig.Dosing.FullFlow == 0:
		c.add(l.Line, l.Column, "dosing_error needs dosing_valve", "state its transfer in rig "+c.rig.Name)
	case l.Characteristic == characteristic.VolumetricEfficiency && c.rig.StrokeVol == 0:
		c.add(l.Line, l.Column, "volumetric_efficiency needs stroke_volume", "state it in rig "+c.rig.Name)
	}
}

func (c *fit) lacking(line, column int, what string, commands []rig.Command, channels []scenario.AnyOf) {
	for _, cmd := range commands {
		if cmd = c.asked(cmd); c.rig.Commands[cmd] == nil {
			c.add(line, column, fmt.Sprintf("%s needs the command %s and rig %s has none", what, cmd, c.rig.Name),
				"map it in the rig, or leave this out")
		}
	}
	for _, any := range channels {
		if !c.has(any) {
			c.add(line, column, fmt.Sprintf("%s needs the channel %s and rig %s has none", what, any, c.rig.Name),
				"map it in the rig, or leave this out")
		}
	}
}

// asked is the command that stands for another on a unit with its own controller: it is not driven but
// asked for a state, and for a dosing quantity.
func (c *fit) asked(cmd rig.Command) rig.Command {
	if c.rig.Kind != rig.Controller {
		return cmd
	}
	switch cmd {
	case rig.SetPumpDrive, rig.SetReturnValve:
		return rig.SetUnitState
	case rig.SetDosingDuty:
		return rig.SetDosingRequest
	}
	return cmd
}

func (c *fit) has(any scenario.AnyOf) bool {
	for _, ch := range any {
		if c.rig.Channels[ch] != nil {
			return true
		}
	}
	return false
}
