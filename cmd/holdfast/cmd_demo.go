package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"holdfast/bench/disk"
	"holdfast/bench/record"
	"holdfast/scenarios"
)

func newDemoCommand() *cobra.Command {
	var to string
	cmd := &cobra.Command{
		Use:   "demo --to FOLDER",
		Short: "Play a few days in a shop on the simulated bench, and leave a folder to look around in",
		Long: `Runs the commands of a shop's day on the simulated bench, prints each, and leaves in
an empty FOLDER: index.html to start from, the records, the reports and certificates (HTML and PDF)
of a pass, a fail, an undecided and an interrupted run, and the data as Parquet. All units and names
are invented.` + exitHelp,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runDemo(cmd.Context(), to, cmd.OutOrStdout())
		},
	}
	cmd.Flags().StringVar(&to, "to", "", "an empty folder")
	_ = cmd.MarkFlagRequired("to")
	return cmd
}

// demo plays command lines, and stops playing at the first that ends otherwise than it should.
type demo struct {
	ctx context.Context
	to  string // the folder
	out io.Writer
	err error
}

func runDemo(ctx context.Context, to string, out io.Writer) error {
	if entries, err := os.ReadDir(to); err == nil && len(entries) > 0 {
		return withStatus(exitUsage, fmt.Errorf("%s is not empty; name an empty folder with --to", to))
	}
	if err := os.MkdirAll(filepath.Join(to, "pages"), 0o755); err != nil {
		return withStatus(exitUsage, err)
	}
	d := &demo{ctx: ctx, to: to, out: out}
	d.play(exitDone, "store", "shop", "--name", "Harbour Street Bench (invented)", "--address",
		"1 Harbour Street, Anytown")
	d.goodDay()
	d.rebuild()
	d.doubt()
	d.powerCut()
	d.closing()
	if d.err != nil {
		return withStatus(exitInternal, d.err)
	}
	fmt.Fprintln(out, "\nstart at "+filepath.Join(to, "index.html"))
	return nil
}

// play runs one command line on the demo's records, shows it and what it printed, and returns that.
func (d *demo) play(status int, args ...string) string {
	if d.err != nil {
		return ""
	}
	var b bytes.Buffer
	args = append(args, "--out", filepath.Join(d.to, "records"))
	fmt.Fprintln(d.out, "$ holdfast "+quoted(args))
	got := execute(d.ctx, args, strings.NewReader(""), &b, &b)
	text := b.String()
	if args[0] == "run" {
		text = verdictAndRecord(text)
	}
	fmt.Fprintln(d.out, text)
	if got != status {
		d.err = fmt.Errorf("holdfast %s: status %d instead of %d", quoted(args), got, status)
	}
	return text
}

func quoted(args []string) string {
	shown := make([]string, len(args))
	for i, a := range args {
		shown[i] = a
		if strings.ContainsAny(a, ` "'()`) {
			shown[i] = fmt.Sprintf("%q", a)
		}
	}
	return strings.Join(shown, " ")
}

// verdictAndRecord leaves of what run prints the verdict and where the record is.
func verdictAndRecord(text string) string {
	lines := strings.Split(text, "\n")
	var kept []string
	for i, line := range lines {
		if strings.HasPrefix(line, "━") && i+1 < len(lines) && len(kept) == 0 {
			kept = append(kept, lines[i+1])
		}
		if strings.HasPrefix(line, recordLine) {
			kept = append(kept, line)
		}
	}
	return strings.Join(kept, "\n")
}

// recordLine begins the line in which run says where the record is.
const recordLine = "record: "

// test runs the release test and returns the run's id.
func (d *demo) test(status int, serial string, more ...string) string {
	said := d.play(status, append([]string{"run", "release", "--rig", "bench-node", "--bus", "sim",
		"--serial", serial, "--yes"}, more...)...)
	_, path, _ := strings.Cut(said, recordLine)
	return filepath.Base(path)
}

// pages writes a run's report as a page and as a PDF.
func (d *demo) pages(run, name string) {
	file := filepath.Join(d.to, "pages", name)
	d.play(exitDone, "report", run, "--html", file+".html", "--pdf", file+".pdf")
}

func (d *demo) goodDay() {
	d.play(exitDone, "intake", "--serial", "DEMO-1", "--kind", "24 V", "--hours", "19200", "--owner",
		"job 101", "--complaint", "routine rebuild")
	d.pages(d.test(exitDone, "DEMO-1", "--seed", "3"), "pass")
	d.play(exitDone, "release", "--serial", "DEMO-1", "--by", "K. Example", "--simulated")
}

func (d *demo) rebuild() {
	d.play(exitDone, "intake", "--serial", "DEMO-2", "--kind", "24 V", "--hours", "20450", "--owner",
		"job 102", "--complaint", "lamp on, no dosing", "--fault", "4334/18/3")
	failed := d.test(exitFail, "DEMO-2", "--fault", "membrane-split=0.6", "--seed", "4")
	d.pages(failed, "fail")
	d.play(exitDone, "found", "membrane-split", "--serial", "DEMO-2", "--note",
		"split along its plane, tracks green", "--part", "pump membrane", "--part", "seal kit")
	passed := d.test(exitDone, "DEMO-2", "--seed", "4")
	d.play(exitDone, "release", "--serial", "DEMO-2", "--by", "K. Example", "--simulated")
	d.play(exitDone, "compare", failed, passed)
	d.play(exitDone, "history", "DEMO-2")
	d.play(exitDone, "verify", failed)
}

// doubt tests on a bench whose gauge is overdue: nothing can pass there.
func (d *demo) doubt() {
	text, _, err := scenarios.ReadRig("bench-node")
	rig := filepath.Join(d.to, "overdue.yaml")
	text = bytes.Replace(bytes.Replace(text, []byte("calibrated: 2026-09-01"),
		[]byte("calibrated: 2020-09-01"), 1),
		[]byte("due: 2036-09-01"), []byte("due: 2021-09-01"), 1)
	if err := errors.Join(err, os.WriteFile(rig, text, 0o644)); err != nil {
		d.err = errors.Join(d.err, err)
	}
	d.pages(d.test(exitUndecided, "DEMO-3", "--rig", rig), "undecided")
	d.play(exitDone, "intake", "--serial", "DEMO-4", "--hours", "17800", "--complaint",
		"pump runs, little flow")
	run := d.test(exitFail, "DEMO-4", "--fault", "return-fouled=0.8", "--seed", "5")
	d.play(exitDone, "found", "return-fouled", "--serial", "DEMO-4", "--note",
		"crystals in the return restriction")
	d.play(exitDone, "verify", run)
}

// powerCut leaves of a run what a loss of power leaves: the first part of its journal and of its frames.
func (d *demo) powerCut() {
	gone := false
	restore := disk.Inject(func(_ disk.Op, path string) error {
		if gone = gone || filepath.Base(path) == record.ResultFile; gone {
			return errors.New("the power is gone")
		}
		return nil
	})
	run := d.test(exitInternal, "DEMO-5", "--seed", "6") // it could not be put away
	restore()
	if d.err != nil {
		return
	}
	folder := filepath.Join(d.to, "records", run)
	entries, err := os.ReadDir(folder)
	for _, e := range entries {
		path := filepath.Join(folder, e.Name())
		info, failed := e.Info()
		if err = errors.Join(err, failed); err != nil {
			break
		}
		if e.Name() == record.JournalFile || e.Name() == record.FramesFile {
			err = os.Truncate(path, info.Size()*2/5)
		} else {
			err = os.Remove(path)
		}
	}
	d.err = err
	fmt.Fprintln(d.out, "(the journal is cut here, as a loss of power cuts it)")
	d.play(exitDone, "recover")
	d.pages(run, "interrupted")
}

func (d *demo) closing() {
	d.play(exitDone, "causes", "--simulated")
	d.play(exitDone, "trend", "leak_rate", "--simulated")
	d.play(exitDone, "store", "check")
	d.play(exitDone, "export", "--to", filepath.Join(d.to, "tables"))
	d.play(exitDone, "history", "--html", filepath.Join(d.to, "index.html"))
}
