package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/report"
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
	if strings.TrimSpace(o.by) == "" {
		return withStatus(exitUsage, errors.New("--by is empty: a release needs a name"))
	}
	paper, err := paperNamed(o.paper)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	return withRecords(ctx, o.out, errOut, func(s *record.Store, runs string) error {
		g := &letGo{store: s, runs: runs, paper: paper}
		err := g.mayGo(ctx, o)
		if errors.Is(err, record.ErrNoVisit) {
			return g.again(ctx, o, out, err)
		}
		if err != nil {
			return err
		}
		g.note, err = s.Release(ctx, record.Note{Time: now(), By: o.by, Serial: o.serial, Run: g.result.Run}, g.number)
		if err != nil {
			return err
		}
		if g.visit, err = s.Visit(ctx, g.visit.ID); err != nil {
			return err
		}
		files, err := g.certify(ctx)
		if err != nil {
			return withStatus(exitInternal,
				fmt.Errorf("visit %s is closed, but its certificate could not be written: %w", g.visit.ID, err))
		}
		if err := g.show(o, out, files); err != nil {
			return err
		}
		if shop, err := s.Shop(ctx); err == nil && shop.Name == "" {
			fmt.Fprintln(errOut, "the certificate says \"given out by: not stated\": holdfast store shop --name states the shop")
		}
		return nil
	})
}

func (g *letGo) show(o releaseOptions, out io.Writer, files []string) error {
	if o.json {
		return printJSON(out, map[string]any{"visit": g.visit, "files": files})
	}
	fmt.Fprintf(out, "released %s on run %s\ncertificate %s\n", report.Plain(o.serial), g.note.Run, g.note.Certificate)
	for _, f := range files {
		fmt.Fprintf(out, "  %s\n", f)
	}
	return nil
}

// again writes the certificate of a unit that was released already and whose certificate is missing (a
// full disk, a lost file): the same number, name and date. Otherwise it is refused with why.
func (g *letGo) again(ctx context.Context, o releaseOptions, out io.Writer, why error) error {
	visits, err := g.store.Visits(ctx, o.serial, 1)
	if err != nil || len(visits) == 0 || visits[0].Certificate == "" {
		return errors.Join(why, err)
	}
	v := visits[0]
	if g.folder, err = record.Resolve(g.runs, v.Run); err != nil {
		return err
	}
	name := filepath.Join(g.folder.Path, "certificate-"+v.Certificate)
	_, html := os.Stat(name + ".html")
	_, pdf := os.Stat(name + ".pdf")
	if html == nil && pdf == nil {
		return fmt.Errorf("%w; it was released on run %s with certificate %s", why, v.Run, v.Certificate)
	}
	if g.result, err = record.Rejudge(g.folder); err != nil {
		return err
	}
	g.visit, g.note = v, record.Note{Time: v.Closed, By: v.ReleasedBy, Run: v.Run, Certificate: v.Certificate}
	files, err := g.certify(ctx)
	if err != nil {
		return withStatus(exitInternal, err)
	}
	return g.show(o, out, files)
}

func paperNamed(name string) (report.Paper, error) {
	for _, p := range []report.Paper{report.A4, report.Letter} {
		if strings.EqualFold(name, string(p)) {
			return p, nil
		}
	}
	return "", fmt.Errorf("--paper %q: A4 or Letter", name)
}

// mayGo finds the visit and the run that a unit may be released on, or says why it may not.
func (g *letGo) mayGo(ctx context.Context, o releaseOptions) error {
	v, ok, err := g.store.OpenVisit(ctx, o.serial)
	if err != nil {
		return err
	}
	if !ok {
		return fmt.Errorf("%w of %q; holdfast intake opens one", record.ErrNoVisit, o.serial)
	}
	g.visit = v
	found, err := g.store.Search(ctx, record.Search{Visit: v.ID, Scenario: o.scenario, Limit: 1})
	if err != nil {
		return err
	}
	if len(found) == 0 {
		return notReleased("no run of %s since visit %s was opened", o.scenario, v.ID)
	}
	last := found[0]
	if why := whyNot(last, o); why != "" {
		return notReleased("the latest run of %s, %s, %s", o.scenario, last.ID, why)
	}
	if g.folder, err = record.OpenFolder(last.Folder); err != nil {
		return err
	}
	if wrong := record.Tampered(g.runs, g.folder); wrong != "" {
		return notReleased("the record of run %s is not to be relied on: %s", last.ID, wrong)
	}
	g.result, err = record.Rejudge(g.folder)
	if err == nil && g.result.Verdict != judge.Pass {
		return notReleased("judged again, run %s is no pass but %s", last.ID, g.result.Verdict)
	}
	return err
}

func notReleased(why string, args ...any) error {
	return withStatus(exitFail, fmt.Errorf("not released: "+why, args...))
}

func whyNot(last record.Run, o releaseOptions) string {
	switch {
	case last.Verdict != judge.Pass.String():
		return "is no pass but " + last.Verdict
	case last.Simulated && !o.simulated:
		return "was simulated: no real unit was tested (--simulated releases it for practice)"
	}
	return ""
}
