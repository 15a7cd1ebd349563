package main

import (
	"errors"
	"io"

	"github.com/spf13/cobra"

	"holdfast/bench/record"
	"holdfast/bench/report"
)

type reportOptions struct {
	run, out, html, junit, pdf, paper string
	json                              bool
}

func newReportCommand() *cobra.Command {
	var o reportOptions
	cmd := &cobra.Command{
		Use:   "report RUN",
		Short: "Show a run again from its record",
		Long: `Reads a run's journal, judges it by the rig and the scenario that are kept in it and
prints the result table. The record is left as it is. RUN is a run's id, the beginning of one, or
the path of its folder.

The status says whether the report could be made; the verdict is in the table and in --json.` + exitHelp,
		Example: `  holdfast report 20260304T120000Z-HF-2041
  holdfast report ./runs/20260304T120000Z-HF-2041 --html report.html --pdf report.pdf --paper Letter`,
		Args: wants("RUN"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.run = args[0]
			return runReport(o, cmd.OutOrStdout())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.out, "out", "", "folder of the records (default: holdfast/runs in the user's data folder)")
	f.StringVar(&o.html, "html", "", "also write the page to this file")
	f.StringVar(&o.pdf, "pdf", "", "also write the page as a PDF to this file")
	f.StringVar(&o.paper, "paper", string(report.A4), "paper of the PDF: A4 or Letter")
	f.StringVar(&o.junit, "junit", "", "also write JUnit XML to this file")
	f.BoolVar(&o.json, "json", false, "print result.json instead of the table")
	return cmd
}

func runReport(o reportOptions, out io.Writer) error {
	paper, err := paperNamed(o.paper)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	runs, err := outFolder(o.out)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	folder, err := record.Resolve(runs, o.run)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	res, err := record.Rejudge(folder)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	err = errors.Join(
		writeIf(o.html, func(w io.Writer) error { return report.HTML(w, res) }),
		writeIf(o.pdf, func(w io.Writer) error { return report.PDF(w, res, nil, paper) }),
		writeIf(o.junit, func(w io.Writer) error { return report.JUnit(w, res) }),
		printResult(out, res, o.json))
	if err != nil {
		return withStatus(exitInternal, err)
	}
	return nil
}

// outFolder is the folder of the records: the one named, or the user's.
func outFolder(named string) (string, error) {
	if named != "" {
		return named, nil
	}
	return record.DefaultOut()
}

// writeIf writes a file when one was asked for.
func writeIf(path string, write func(io.Writer) error) error {
	if path == "" {
		return nil
	}
	return record.WriteFile(path, write)
}
