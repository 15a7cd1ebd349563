package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"holdfast/bench/record"
	"holdfast/bench/report"
)

func newStoreUpgradeCommand() *cobra.Command {
	var out, by string
	cmd := &cobra.Command{
		Use:   "upgrade",
		Short: "Bring records of an earlier holdfast under a signed book",
		Long: `Moves the signing key that lies among the records to your configuration folder, lets the book go on
signed, and adopts every run with what its seal still proves. What could not be proven is named. It can
be called again.` + exitHelp,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return withRecords(cmd.Context(), out, cmd.ErrOrStderr(), func(s *record.Store, _ string) error {
				u, err := s.Upgrade(cmd.Context(), person(by), now())
				if err != nil {
					return withStatus(exitUsage, err)
				}
				w := cmd.OutOrStdout()
				if u.Key != "" {
					fmt.Fprintln(w, report.Plain(u.Key))
				}
				for _, what := range u.Unproven {
					fmt.Fprintf(w, "not proven: %s\n", report.Plain(what))
				}
				fmt.Fprintf(w, "%s adopted into the signed book\n", counted(u.Adopted, "run"))
				return nil
			})
		},
	}
	addByFlag(cmd, &by)
	addOutFlag(cmd, &out)
	return cmd
}

func newStorePolicyCommand() *cobra.Command {
	var out, by string
	var allow []string
	var shipped bool
	cmd := &cobra.Command{
		Use:   "policy",
		Short: "State or show which scenarios a unit may be released on",
		Long: `A release names the scenario by the hash of its text, so that another one of the same name, with other
limits, releases nothing. Without a policy the shipped release scenarios are allowed. What is allowed here
replaces what was allowed before; without flags the policy is shown.` + exitHelp,
		Example: `  holdfast store policy --allow release --allow ./our-release.yaml --by "K. Example"`,
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return withRecords(cmd.Context(), out, cmd.ErrOrStderr(), func(s *record.Store, _ string) error {
				return runPolicy(cmd.Context(), s, allow, shipped, person(by), cmd.OutOrStdout())
			})
		},
	}
	cmd.Flags().StringArrayVar(&allow, "allow", nil, "scenario file or the name of a shipped one, repeatable")
	cmd.Flags().BoolVar(&shipped, "shipped", false, "allow the shipped release scenarios of this program")
	addByFlag(cmd, &by)
	addOutFlag(cmd, &out)
	return cmd
}

func runPolicy(ctx context.Context, s *record.Store, allow []string, shipped bool, by string, w io.Writer) error {
	standard, err := releaseScenarios()
	if err != nil {
		return withStatus(exitInternal, err)
	}
	var stated []record.Policy
	if shipped {
		stated = standard
	}
	for _, name := range allow {
		plan, err := loadScenario(name)
		if err != nil {
			return withStatus(exitUsage, err)
		}
		stated = append(stated, record.Policy{Name: plan.Name, SHA256: record.HashText(plan.Text)})
	}
	if len(stated) > 0 {
		if err := s.SetPolicy(ctx, stated, by, now()); err != nil {
			return err
		}
	}
	policy, err := s.Policy()
	if err != nil {
		return err
	}
	if policy == nil {
		fmt.Fprintln(w, "no policy of the shop's own: the shipped release scenarios release a unit")
		policy = standard
	}
	for _, p := range policy {
		fmt.Fprintf(w, "%s  %s\n", p.SHA256, report.Plain(p.Name))
	}
	return nil
}

func newStoreAnswerCommand() *cobra.Command {
	var out, by string
	cmd := &cobra.Command{
		Use:   "answer --by NAME",
		Short: "Answer for damage to the book, so that units can be released again",
		Long: `Where an entry of the book was changed or is missing, nothing is released: what it said might forbid
it. When you have looked at what "holdfast store check" names, this enters into the book that you answer
for it. The damage stays named.` + exitHelp,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if by == "" {
				return withStatus(exitUsage, errors.New("--by is empty: somebody must answer for it"))
			}
			return withRecords(cmd.Context(), out, cmd.ErrOrStderr(), func(s *record.Store, _ string) error {
				lost, err := s.AnswerDamage(cmd.Context(), by, now())
				if err == nil {
					fmt.Fprintf(cmd.OutOrStdout(), "answered for: %v\n", lost)
				}
				return err
			})
		},
	}
	addByFlag(cmd, &by)
	addOutFlag(cmd, &out)
	return cmd
}
