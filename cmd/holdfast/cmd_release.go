package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/bench/shop"
	"holdfast/scenarios"
)

type releaseOptions struct {
	out, serial, by, scenario, paper string
	simulated, json                  bool
}

func newReleaseCommand() *cobra.Command {
	var o releaseOptions
	cmd := &cobra.Command{
		Use:   "release --serial S --by NAME",
		Short: "Release a unit: close its visit on a pass and print the certificate",
		Long: `Closes the open visit of a unit, when its newest run within the visit, by the order of the shop's
book, is a pass of a scenario that the shop's policy allows (by the hash of its text; without a policy:
the shipped release scenarios), and its record is what the book opened and sealed. Judged again from its
journal it must still be a pass. The certificate is written into the run's folder as HTML and PDF from
the same content, numbered and sealed, before the visit is closed.

A release says that the unit passed on this bench. The unit maker's data, local codes and licensed
practice decide whether it goes on a vehicle.` + exitHelp,
		Example: `  holdfast release --serial HF-2041 --by "S. Example"`,
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runRelease(cmd.Context(), o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.serial, "serial", "", "serial number of the unit")
	f.StringVar(&o.by, "by", "", "who releases the unit: stands on the certificate")
	f.StringVar(&o.scenario, "scenario", "", "name of the scenario that must have been passed (default: any that the shop's policy allows)")
	f.StringVar(&o.paper, "paper", string(report.A4), "paper of the certificate: A4 or Letter")
	f.BoolVar(&o.simulated, "simulated", false, "release on a simulated run; the certificate says so")
	f.BoolVar(&o.json, "json", false, "print what was released as JSON")
	addOutFlag(cmd, &o.out)
	for _, name := range []string{"serial", "by"} {
		_ = cmd.MarkFlagRequired(name)
	}
	return cmd
}

func runRelease(ctx context.Context, o releaseOptions, out, errOut io.Writer) error {
	paper, err := paperNamed(o.paper)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	standard, err := releaseScenarios()
	if err != nil {
		return withStatus(exitInternal, err)
	}
	q := shop.Request{Leaving: record.Leaving{Serial: o.serial, By: o.by, Scenario: o.scenario, Simulated: o.simulated,
		Default: standard, Now: now()}, Paper: paper}
	return withRecords(ctx, o.out, errOut, func(s *record.Store, _ string) error {
		released, err := shop.Release(ctx, s, q)
		switch {
		case errors.Is(err, shop.ErrNotReleased):
			return withStatus(exitFail, err)
		case errors.Is(err, shop.ErrNoCertificate):
			return withStatus(exitInternal, err)
		case err != nil:
			return err
		}
		for _, said := range released.Said {
			fmt.Fprintf(errOut, "warning: %s\n", report.Plain(said))
		}
		if released.Shop.Name == "" {
			fmt.Fprintln(errOut, "the certificate says \"given out by: not stated\": holdfast store shop --name states the shop")
		}
		if o.json {
			return printJSON(out, released)
		}
		return showReleased(out, released)
	})
}

func showReleased(out io.Writer, r *shop.Released) error {
	fmt.Fprintf(out, "released %s on run %s\ncertificate %s\n", report.Plain(r.Visit.Serial), r.Visit.Run,
		r.Visit.Certificate)
	for _, f := range r.Files {
		fmt.Fprintf(out, "  %s\n", f)
	}
	return nil
}

// releaseScenarios are the shipped scenarios that a unit may be let go on where the shop has no policy of its own.
func releaseScenarios() (all []record.Policy, err error) {
	for _, name := range scenarios.Names() {
		if !strings.HasPrefix(name, "release") {
			continue
		}
		text, _, err := scenarios.Read(name)
		if err != nil {
			return nil, err
		}
		all = append(all, record.Policy{Name: name, SHA256: record.HashText(text)})
	}
	return all, nil
}

func paperNamed(name string) (report.Paper, error) {
	for _, p := range []report.Paper{report.A4, report.Letter} {
		if strings.EqualFold(name, string(p)) {
			return p, nil
		}
	}
	return "", fmt.Errorf("--paper %q: A4 or Letter", name)
}
