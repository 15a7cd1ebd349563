package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"holdfast/bench/interlock"
	"holdfast/bench/predict"
	"holdfast/bench/proof"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/bench/yamltext"
	"holdfast/j1939/clock"
)

type checkOptions struct {
	scenario, rig string
	bus           string // "": nothing is sent anywhere
	json          bool
}

func newCheckCommand() *cobra.Command {
	var o checkOptions
	c := &cobra.Command{
		Use:   "check [SCENARIO] --rig RIG [--bus BUS]",
		Short: "Check a scenario against a bench before anything moves",
		Long: `Check reads a scenario and a rig and says everything that is wrong in them, each at its
file, line and column: what was found and how to mend it. Otherwise it shows what a run
does: the steps with their longest times, the limits with the decision rule, the
channels with their accuracy and calibration, and what to know beforehand.

For each limit it predicts the uncertainty that this plan will reach with these instruments, and says
what values will pass. A limit that can only end undecided is named with what would make it
provable (a longer hold, another instrument, a wider limit), and the status is 3.

With --bus the wiring is tested that the rig file speaks of, with or without a scenario: every channel heard, valid, at
its rate and at rest, and the return shut-off seen to shut and to open. The pump, the heater and the dosing valve
are left alone; what no channel shows is listed as not tested. Status 6 when something is bad.

SCENARIO and RIG are a path or the name of a shipped file. Without --bus nothing is sent anywhere.` + exitHelp,
		Example: "  holdfast check release --rig bench-node\n" +
			"  holdfast check release --rig bench-node --bus can0\n" +
			"  holdfast check ./my-unit.yaml --rig ./my-bench.yaml --json",
		Args: func(cmd *cobra.Command, args []string) error {
			if o.bus != "" && len(args) == 0 {
				return nil // the wiring alone
			}
			return wants("SCENARIO")(cmd, args)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				o.scenario = args[0]
				if err := runCheck(o, clock.Real().Time(), cmd.OutOrStdout()); err != nil || o.bus == "" {
					return err
				}
			}
			return checkWiring(cmd.Context(), o, cmd.OutOrStdout())
		},
	}
	c.Flags().StringVar(&o.rig, "rig", "", "rig file or name of a shipped rig (needed)")
	c.Flags().BoolVar(&o.json, "json", false, "print the answer as JSON")
	c.Flags().StringVar(&o.bus, "bus", "", "test the wiring on this bus too: CAN interface, sim, or unix:PATH")
	if err := c.MarkFlagRequired("rig"); err != nil {
		panic(err) // the flag is defined two lines above
	}
	return c
}

// checkWiring holds the bus against what the rig file says of it.
func checkWiring(ctx context.Context, o checkOptions, out io.Writer) error {
	r, err := loadRig(o.rig)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	items, err := lookAt(ctx, r, o.bus, proof.Options{})
	if err != nil {
		return err
	}
	if o.json {
		err = printJSON(out, items)
	} else {
		err = showItems(out, items)
	}
	if err == nil && !proof.AllGood(items) {
		err = withStatus(exitBus, nil)
	}
	return err
}

// runCheck prints problems to out in JSON, and returns them as the error in words.
func runCheck(o checkOptions, now time.Time, out io.Writer) error {
	p, r, err := loadPlanAndRig(o.scenario, o.rig)
	if o.json {
		answer := checkAnswer{Schema: checkSchema, OK: err == nil, Problems: problemsOf(err)}
		if err == nil {
			answer.describe(p, r, now)
		}
		status := exitUsage
		if err == nil {
			all := predict.Limits(p, r)
			answer.Prospects = checkProspects(all)
			if err = hopeless(p, r, all); err != nil {
				status = exitUndecided
			}
		}
		if errWrite := printJSON(out, answer); errWrite != nil {
			return errWrite
		}
		if err != nil {
			return withStatus(status, nil)
		}
		return nil
	}
	if err != nil {
		return err
	}
	return showCheck(out, p, r, now)
}

// checkWarnings is what a person should know before running a plan that is not wrong.
func checkWarnings(p *scenario.Plan, r *rig.Rig, now time.Time) []string {
	var out []string
	for _, in := range r.Overdue(now) {
		out = append(out,
			in.Channel.String()+": calibration was due on "+in.Due.Format(time.DateOnly)+"; no pass is possible")
	}
	out = append(out, beyondSpan(p, r)...)
	out = append(out, unbounded(r)...)
	if p.LimitsFrom == scenario.FromExamples {
		out = append(out, "the limits are shipped examples; replace them with the data of the unit's maker")
	}
	if r.VerifyEvery > 0 {
		out = append(out, fmt.Sprintf("a pass needs a good holdfast verify-bench within the last %g h", r.VerifyEvery.Hours()))
	}
	for _, q := range p.Questions() {
		if q.Unattended == scenario.LeaveUndecided {
			out = append(out, q.Name+": asked of the person at the bench; with nobody there it is undecided")
		}
	}
	if len(p.Limits) == 0 {
		out = append(out, "the scenario sets no limit; nothing can pass")
	}
	return out
}

// beyondSpan names each pressure instrument whose stated span ends below the pressure at which the interlock trips:
// past its span it may read anything, and the guard then looks at a reading that need not rise.
func beyondSpan(p *scenario.Plan, r *rig.Rig) []string {
	trips := r.Guard.MaxPressure
	if p.MaxPressure > 0 {
		trips = min(trips, p.MaxPressure)
	}
	var out []string
	for _, c := range []rig.Channel{rig.ReferencePressure, rig.LinePressure} {
		if in := r.Channels[c]; in != nil && in.Accuracy.Span > 0 && in.Accuracy.Span < trips {
			out = append(out, fmt.Sprintf("%s has a span of %g bar and the interlock trips at %g bar; beyond its span it may "+
				"read anything: fit another, or lower max_pressure", c, in.Accuracy.Span, trips))
		}
	}
	return out
}

// unbounded says what bounds the pressure beside the interlock, and where a gauge that stands still would not be seen.
func unbounded(r *rig.Rig) []string {
	var out []string
	relief := "no relief: is stated: fit a relief valve and write at what pressure it opens, or relief: none"
	switch {
	case r.Relief != nil && r.Relief.None:
		relief = fmt.Sprintf("no relief valve: the interlock trips at %g bar and not at %g bar", r.TripPressure(), r.Guard.MaxPressure)
	case r.Relief != nil:
		relief = ""
	}
	if relief != "" {
		out = append(out, relief)
	}
	if interlock.CanFreezeUnseen(r) {
		bound := "nothing bounds the pressure"
		if r.Relief != nil && !r.Relief.None {
			bound = fmt.Sprintf("the relief valve at %g bar bounds the pressure", r.Relief.At)
		}
		out = append(out, "the pressure comes from one sensor in coarse steps: that it stands still can be seen in hold and dose steps "+
			"only; elsewhere "+bound)
	}
	return out
}

// refuseUnbounded refuses a run on real hardware where the pressure could rise unseen and nothing mechanical bounds it.
func refuseUnbounded(r *rig.Rig, bus string) error {
	if noHardware(bus) || !interlock.CanFreezeUnseen(r) || r.Relief != nil && !r.Relief.None {
		return nil
	}
	return fmt.Errorf("rig %s has one pressure in coarse steps, which can stand still unseen, and states no relief valve: fit one and "+
		"write relief: 13 bar, or map a gauge of finer steps", r.Name)
}

// problemsOf takes apart what loading returned; what has no place gets none.
func problemsOf(err error) []checkProblem {
	out := []checkProblem{}
	var walk func(error)
	walk = func(err error) {
		var many yamltext.Problems
		if joined, ok := err.(interface{ Unwrap() []error }); ok {
			for _, e := range joined.Unwrap() {
				walk(e)
			}
		} else if errors.As(err, &many) {
			for _, p := range many {
				out = append(out, checkProblem{p.Path, p.Line, p.Column, p.Found, p.Do})
			}
		} else if inner := errors.Unwrap(err); inner != nil {
			walk(inner)
		} else if err != nil {
			out = append(out, checkProblem{Found: err.Error()})
		}
	}
	walk(err)
	return out
}
