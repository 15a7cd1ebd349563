package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/user"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"holdfast/bench/record"
	"holdfast/j1939/clock"
)

// addOutFlag gives a command the folder of the records.
func addOutFlag(cmd *cobra.Command, out *string) {
	cmd.Flags().StringVar(out, "out", "",
		"folder of the records (default: holdfast/runs in the user's data folder)")
}

// addByFlag gives a command the person who stands for what it records.
func addByFlag(cmd *cobra.Command, by *string) {
	cmd.Flags().StringVar(by, "by", "", "who says so (default: the name of this computer's user)")
}

// person is who stands for a note: the one named, or the computer's user.
func person(by string) string {
	if by = strings.TrimSpace(by); by != "" {
		return by
	}
	if u, err := user.Current(); err == nil {
		return u.Username
	}
	return "unknown"
}

// withRecords opens the index of the records for do. An index that is missing is made from the run folders
// and the book.
func withRecords(ctx context.Context, named string, errOut io.Writer, do func(*record.Store,
	string) error) (err error) {
	out, err := outFolder(named)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	_, missing := os.Stat(filepath.Join(out, record.IndexFile))
	store, err := record.OpenOut(out)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	defer func() { err = errors.Join(err, store.Close()) }()
	if missing != nil {
		if err := remake(ctx, store, errOut); err != nil {
			return withStatus(exitUsage, err)
		}
	}
	return do(store, out)
}

// remake makes the index anew and names what it had to leave out.
func remake(ctx context.Context, store *record.Store, errOut io.Writer) error {
	n, bad, err := store.Reindex(ctx)
	for _, b := range bad {
		fmt.Fprintf(errOut, "holdfast: left out: %v\n", b)
	}
	if err == nil && n > 0 {
		fmt.Fprintf(errOut, "holdfast: index made anew from %d run folders\n", n)
	}
	return err
}

// printJSON prints a value as indented JSON.
func printJSON(out io.Writer, v any) error {
	enc := json.NewEncoder(out)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	if err := enc.Encode(v); err != nil {
		return withStatus(exitInternal, err)
	}
	return nil
}

// now is the wall clock, for notes that people make.
func now() time.Time { return clock.Real().Time() }

// dateFlag reads a day, or nothing.
func dateFlag(name, text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return t, fmt.Errorf("--%s %q: a date is needed, as 2026-03-04", name, text)
	}
	return t, nil
}
