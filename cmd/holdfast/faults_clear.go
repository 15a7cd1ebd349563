package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"holdfast/bench/record"
	"holdfast/j1939/can"
	"holdfast/j1939/survey"
)

// clearedFile is where what was cleared is kept: one JSON object a line, in the folder of the runs.
const clearedFile = "cleared-faults.jsonl"

// clearOn opens the bus and clears there.
func (o *faultsOptions) clearOn(ctx context.Context, s *survey.Survey, in io.Reader, out, errOut io.Writer) error {
	port, err := openSurveyBus(o.from)
	if err != nil {
		return err
	}
	defer port.Close()
	return o.clearAll(ctx, port, s, in, out, errOut)
}

// clearAll asks the person for each controller that has codes, and clears them.
func (o *faultsOptions) clearAll(ctx context.Context, port can.Port, s *survey.Survey, in io.Reader, out,
	errOut io.Writer) error {
	only, err := parseAddresses(o.addresses)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	p, err := o.ask(ctx, port, s, errOut)
	if err != nil {
		return err
	}
	answers, failed, asked := bufio.NewReader(in), 0, 0
	for _, c := range survey.WithFaults(s.Controllers(p.Node().Address()), o.wanted()) {
		if len(only) > 0 && !slices.Contains(only, c.Address) || !c.HasCodes(o.previous) {
			continue
		}
		asked++
		fmt.Fprint(out, c.FaultText())
		if !o.yes && !confirmed(answers, errOut) {
			fmt.Fprintln(out, "not cleared")
			continue
		}
		done, err := s.Clear(ctx, p, o.from, &c, o.previous)
		if !showCleared(out, done) {
			failed++
		}
		if err = errors.Join(surveyStatus(err), keepCleared(done)); err != nil {
			return err
		}
	}
	switch {
	case asked == 0:
		fmt.Fprintln(out, "no trouble codes to clear were heard")
	case failed > 0:
		return withStatus(exitFail, fmt.Errorf("%d of %d controllers did not clear their codes", failed, asked))
	}
	return nil
}

// showCleared prints what a controller answered and what is left, and reports whether it cleared all.
func showCleared(out io.Writer, done []survey.Cleared) (good bool) {
	if len(done) == 0 {
		return false
	}
	good = true
	for _, e := range done {
		fmt.Fprintf(out, "    %s: %s\n", e.Request, e.Answer)
		good = good && e.Good
	}
	left := survey.Controller{Faults: done[0].After}
	fmt.Fprintf(out, "    now:\n%s", left.FaultLines())
	return good
}

// confirmed: what is not a clear yes is a no.
func confirmed(in *bufio.Reader, out io.Writer) bool {
	fmt.Fprint(out, "Is the repair done? Type yes to clear these codes: ")
	answer, err := in.ReadString('\n')
	return (err == nil || errors.Is(err, io.EOF)) && strings.EqualFold(strings.TrimSpace(answer), "yes")
}

// keepCleared appends to the file before anything else is cleared.
func keepCleared(entries []survey.Cleared) error {
	if len(entries) == 0 {
		return nil
	}
	runs, err := record.DefaultOut()
	if err != nil {
		return withStatus(exitInternal, err)
	}
	if err := os.MkdirAll(filepath.Dir(runs), 0o755); err != nil {
		return withStatus(exitInternal, fmt.Errorf("keep what was cleared: %w", err))
	}
	path := filepath.Join(filepath.Dir(runs), clearedFile)
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o644)
	if err != nil {
		return withStatus(exitInternal, fmt.Errorf("keep what was cleared: %w", err))
	}
	for _, e := range entries {
		line, failed := json.Marshal(e)
		if failed == nil {
			_, failed = f.Write(append(line, '\n'))
		}
		err = errors.Join(err, failed)
	}
	err = errors.Join(err, f.Sync(), f.Close())
	if err != nil {
		return withStatus(exitInternal, fmt.Errorf("keep what was cleared in %s: %w", path, err))
	}
	return nil
}
