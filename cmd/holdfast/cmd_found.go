package main

import (
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"holdfast/bench/cause"
	"holdfast/bench/record"
	"holdfast/bench/shop"
)

type foundOptions struct {
	out, serial, cause, note, by string
	parts                        []string
	json                         bool
}

func newFoundCommand() *cobra.Command {
	var o foundOptions
	cmd := &cobra.Command{
		Use:   "found CAUSE --serial S",
		Short: "Record what the strip-down showed",
		Long: `Records what was really found in a unit with its open visit, or with its latest when
it has left. CAUSE is one of the names below, or other with a --note. Record a finding also when it
is not what the program had named: holdfast causes compares the two.

` + causeList() + exitHelp,
		Example: `  holdfast found membrane-split --serial HF-2041 --note "split at the clamp, tracks green" --part "pump membrane"
  holdfast found other --serial HF-2041 --note "connector pin bent"`,
		Args: wants("CAUSE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.cause = args[0]
			return runFound(cmd.Context(), o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.serial, "serial", "", "serial number of the unit")
	f.StringVar(&o.note, "note", "", "parts and places, in your words")
	f.StringArrayVar(&o.parts, "part", nil, "part fitted, repeatable")
	f.BoolVar(&o.json, "json", false, "print the visit as JSON")
	addByFlag(cmd, &o.by)
	addOutFlag(cmd, &o.out)
	_ = cmd.MarkFlagRequired("serial")
	return cmd
}

func causeList() string {
	var b strings.Builder
	b.WriteString("Causes:\n")
	titles := cause.Titles()
	for _, name := range cause.Names() {
		fmt.Fprintf(&b, "  %-20s %s\n", name, titles[name])
	}
	fmt.Fprintf(&b, "  %-20s anything else, in a --note", shop.OtherCause)
	return b.String()
}

func runFound(ctx context.Context, o foundOptions, out, errOut io.Writer) error {
	if err := shop.CheckFinding(o.cause, o.note); err != nil {
		return withStatus(exitUsage, err)
	}
	return withRecords(ctx, o.out, errOut, func(s *record.Store, _ string) error {
		id, err := s.Found(ctx, record.Note{Time: now(), By: person(o.by), Serial: o.serial, Cause: o.cause,
			Remark: o.note, Parts: o.parts})
		if err != nil {
			return err
		}
		return printVisit(ctx, s, id, "", o.json, out)
	})
}
