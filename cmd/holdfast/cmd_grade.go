package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/bench/session"
	"holdfast/bench/shop"
)

type gradeOptions struct {
	out, run, scenario, rig, by, why string
	json                             bool
}

func newGradeCommand() *cobra.Command {
	var o gradeOptions
	cmd := &cobra.Command{
		Use:   "grade RUN",
		Short: "Judge a run again from its journal",
		Long: `Computes and judges a run again from its journal. With what is in the record the
answer must be the same, byte for byte; it then says so and changes nothing.

With --scenario or --rig it judges by other limits or other instruments (the same steps were run, of
course), and keeps the new judgement beside the old one, never over it: judgement-2.json and so on,
with who and why, sealed. The same happens when this program computes another answer than the one on
record.

The status is that of the judgement: 0 pass, 1 fail, 3 undecided and so on.` + exitHelp,
		Example: `  holdfast grade 20260304T1200
  holdfast grade 20260304T1200 --scenario our-limits.yaml --why "maker's data of May" --by Kim`,
		Args: wants("RUN"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.run = args[0]
			return runGrade(cmd.Context(), o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.scenario, "scenario", "", "judge by the limits and the rule of this scenario")
	f.StringVar(&o.rig, "rig", "", "judge with the instruments of this rig")
	f.StringVar(&o.why, "why", "", "why it is judged again; needed with --scenario or --rig")
	f.BoolVar(&o.json, "json", false, "print the judgement as JSON instead of the table")
	addByFlag(cmd, &o.by)
	addOutFlag(cmd, &o.out)
	return cmd
}

func runGrade(ctx context.Context, o gradeOptions, out, errOut io.Writer) error {
	runs, err := outFolder(o.out)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	folder, err := record.Resolve(runs, o.run)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	plan, r, err := o.others()
	if err != nil {
		return withStatus(exitUsage, err)
	}
	res, err := record.RejudgeWith(folder, plan, r)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	if err := o.keep(ctx, runs, folder, res, plan, r, errOut); err != nil {
		return err
	}
	if err := printResult(out, res, o.json); err != nil {
		return withStatus(exitInternal, err)
	}
	return withStatus(statusOfVerdict(res), nil)
}

// others reads the scenario and the rig that were asked for; nil is the one in the record.
func (o *gradeOptions) others() (plan *scenario.Plan, r *rig.Rig, err error) {
	if o.scenario == "" && o.rig == "" {
		return nil, nil, nil
	}
	if strings.TrimSpace(o.why) == "" {
		return nil, nil, errors.New("another judgement needs a reason: say it with --why")
	}
	if o.scenario != "" {
		if plan, err = loadScenario(o.scenario); err != nil {
			return nil, nil, err
		}
	}
	if o.rig != "" {
		r, err = loadRig(o.rig)
	}
	return plan, r, err
}

// keep says that nothing changed, or keeps the new judgement beside the old one.
func (o *gradeOptions) keep(ctx context.Context, runs string, folder record.Folder, res *judge.Result,
	plan *scenario.Plan, r *rig.Rig, errOut io.Writer) error {
	why := o.why
	if plan == nil && r == nil {
		same, err := record.SameAsGiven(folder, res)
		if err != nil {
			return err
		}
		if same {
			fmt.Fprintln(errOut, "the same as on record, byte for byte")
			return nil
		}
		fmt.Fprintln(errOut, "NOT the same as on record: this program computes another answer")
		why = shop.Join(why, "holdfast "+version+" computes another answer from the same record")
	}
	return withRecords(ctx, runs, errOut, func(s *record.Store, _ string) error {
		name, err := session.KeepJudgement(ctx, s, runs, folder, record.Judgement{Time: now(), By: person(o.by), Why: why,
			Version: version}, res, plan, r)
		if err != nil {
			return withStatus(exitInternal, err)
		}
		fmt.Fprintf(errOut, "new judgement kept beside the old: %s\n", name)
		return nil
	})
}
