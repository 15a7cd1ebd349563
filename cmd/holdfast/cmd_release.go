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
)

type releaseOptions struct {
	out, serial, by, scenario, paper string
	simulated, json                  bool
}

func newReleaseCommand() *cobra.Command {
	var o releaseOptions
	cmd := &cobra.Command{
		Use:   "release --serial S --by NAME",
		Short: "Let a unit go: close its visit on a pass and print the certificate",
		Long: `Closes the open visit of a unit, when its latest run of the required scenario within
the visit is a pass and its record is as it was sealed. Judged again from its journal it must still
be a pass. The certificate is written into the run's folder as HTML and PDF from the same content,
numbered and sealed.

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
	f.StringVar(&o.by, "by", "", "who lets the unit go: stands on the certificate")
	f.StringVar(&o.scenario, "scenario", "release", "name of the scenario that must have been passed")
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
	q := shop.Request{Serial: o.serial, By: o.by, Scenario: o.scenario, Simulated: o.simulated, Paper: paper, Now: now()}
	return withRecords(ctx, o.out, errOut, func(s *record.Store, runs string) error {
		released, err := shop.Release(ctx, s, runs, q)
		switch {
		case errors.Is(err, shop.ErrNotReleased):
			return withStatus(exitFail, err)
		case errors.Is(err, shop.ErrNoCertificate):
			return withStatus(exitInternal, err)
		case err != nil:
			return err
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

func paperNamed(name string) (report.Paper, error) {
	for _, p := range []report.Paper{report.A4, report.Letter} {
		if strings.EqualFold(name, string(p)) {
			return p, nil
		}
	}
	return "", fmt.Errorf("--paper %q: A4 or Letter", name)
}
