package main

import (
	"context"
	"fmt"
	"io"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"holdfast/bench/record"
	"holdfast/bench/report"
)

func newStoreCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "store",
		Short: "Look after the records: check, back up, restore, policy, instruments, the shop's name",
		Long: `The records are a folder: one folder a run, the shop's book (book.jsonl) and an
index (index.db) that can be made again from them at any time with "holdfast history --reindex".` + exitHelp,
	}
	cmd.AddCommand(newStoreCheckCommand(), newStoreBackupCommand(), newStoreRestoreCommand(),
		newStoreInstrumentsCommand(), newStoreShopCommand(), newStoreUpgradeCommand(), newStorePolicyCommand(),
		newStoreAnswerCommand())
	return onlyGroup(cmd)
}

func newStoreCheckCommand() *cobra.Command {
	var out string
	cmd := &cobra.Command{
		Use:   "check",
		Short: "Hold book, folders and index against each other, and name every difference",
		Long: `Reads the whole book with every signature, every run's folder against its seal, and the index, and
holds each against the others: entries that were changed, removed, doubled or swapped, a book that became
shorter than it was seen, folders that are gone or that no entry answers to, content of one run in
another's place. Status 1 when something is wrong.` + exitHelp,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runStoreCheck(cmd.Context(), out, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	addOutFlag(cmd, &out)
	return cmd
}

func runStoreCheck(ctx context.Context, named string, out, errOut io.Writer) error {
	return withRecords(ctx, named, errOut, func(s *record.Store, _ string) error {
		if err := s.Check(ctx); err != nil {
			return withStatus(exitFail, err)
		}
		units, visits, runs, err := s.Counts(ctx)
		if err != nil {
			return err
		}
		fmt.Fprintf(out, "index: good; %s, %s, %s\n", counted(units, "unit"), counted(visits, "visit"),
			counted(runs, "run"))
		d, err := s.Compare(ctx)
		if err != nil {
			return err
		}
		for _, what := range d.Wrong {
			fmt.Fprintf(out, "WRONG: %s\n", report.Plain(what))
		}
		for _, what := range d.Said {
			fmt.Fprintf(out, "%s\n", report.Plain(what))
		}
		fmt.Fprintf(out, "book: %d entries; %s, %d unchanged; %d WRONG\n", d.Entries, counted(d.Runs, "run"), d.Sealed,
			len(d.Wrong))
		watches, err := checkWatches(ctx, s, out)
		if err != nil {
			return err
		}
		if len(d.Wrong)+watches > 0 {
			return withStatus(exitFail, nil)
		}
		return nil
	})
}

func newStoreBackupCommand() *cobra.Command {
	var out string
	cmd := &cobra.Command{
		Use:   "backup FOLDER",
		Short: "Copy the records to another folder, and check the copy",
		Long: `Copies every run folder that is not in FOLDER yet, the book, the public key and a
whole copy of the index, also while others are running tests. What is in FOLDER already is held
against the original. The copy is a folder of records like any other: holdfast works on it with
--out. The private signing key is not copied: keep it yourself.` + exitHelp,
		Example: `  holdfast store backup /media/stick/holdfast`,
		Args:    wants("FOLDER"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return withRecords(cmd.Context(), out, cmd.ErrOrStderr(), func(s *record.Store, _ string) error {
				n, err := s.BackUpAll(cmd.Context(), args[0])
				if err == nil {
					fmt.Fprintf(cmd.OutOrStdout(),
						"%d runs copied, %d there already; book and index copied\n", n.Copied, n.There)
				}
				return err
			})
		},
	}
	addOutFlag(cmd, &out)
	return cmd
}

func newStoreRestoreCommand() *cobra.Command {
	var out string
	cmd := &cobra.Command{
		Use:   "restore FOLDER",
		Short: "Bring records back from a backup into an empty folder",
		Long: `Copies a backup into the folder of the records, which must not hold any, and makes
the index anew from the run folders and the book.` + exitHelp,
		Args: wants("FOLDER"),
		RunE: func(cmd *cobra.Command, args []string) error {
			folder, err := outFolder(out)
			if err != nil {
				return withStatus(exitUsage, err)
			}
			if err := record.Restore(args[0], folder); err != nil {
				return withStatus(exitUsage, err)
			}
			return withRecords(cmd.Context(), folder, cmd.ErrOrStderr(), func(s *record.Store,
				_ string) error {
				units, visits, runs, err := s.Counts(cmd.Context())
				fmt.Fprintf(cmd.OutOrStdout(), "restored: %d units, %d visits, %d runs\n", units, visits,
					runs)
				return err
			})
		},
	}
	addOutFlag(cmd, &out)
	return cmd
}

func newStoreInstrumentsCommand() *cobra.Command {
	var out string
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "instruments",
		Short: "List the benches' instruments by the date their calibration is due",
		Long: `Lists the instruments as the latest run on each bench had them, the earliest due
first. An overdue instrument makes a pass impossible.` + exitHelp,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return withRecords(cmd.Context(), out, cmd.ErrOrStderr(), func(s *record.Store, _ string) error {
				tools, err := s.Tools(cmd.Context())
				if err != nil {
					return err
				}
				if asJSON {
					return printJSON(cmd.OutOrStdout(), tools)
				}
				return showTools(cmd.OutOrStdout(), tools, now())
			})
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print as JSON")
	addOutFlag(cmd, &out)
	return cmd
}

func showTools(out io.Writer, tools []record.Tool, today time.Time) error {
	if len(tools) == 0 {
		_, err := fmt.Fprintln(out, "no run is on record yet")
		return err
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "due\tbench\tchannel\tcalibrated\taccuracy (k = 2)")
	for _, t := range tools {
		due := t.Due
		switch {
		case due == "":
			due = "-"
		case due < today.Format(time.DateOnly):
			due += " OVERDUE"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\n", due, report.Plain(t.Rig), t.Channel, orDash(t.Calibrated),
			orDash(t.Accuracy))
	}
	return w.Flush()
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

func newStoreShopCommand() *cobra.Command {
	var out, by string
	var shop record.Shop
	cmd := &cobra.Command{
		Use:   "shop",
		Short: "State or show the shop's name and address, as certificates print them",
		Long: `States the name and the address that certificates print; without flags it shows
them.` +
			exitHelp,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return withRecords(cmd.Context(), out, cmd.ErrOrStderr(), func(s *record.Store, _ string) error {
				if shop != (record.Shop{}) {
					if err := s.SetShop(cmd.Context(), shop, person(by), now()); err != nil {
						return err
					}
				}
				said, err := s.Shop(cmd.Context())
				fmt.Fprintf(cmd.OutOrStdout(), "name     %s\naddress  %s\n", report.Plain(orDash(said.Name)),
					report.Plain(orDash(said.Address)))
				return err
			})
		},
	}
	cmd.Flags().StringVar(&shop.Name, "name", "", "name of the shop")
	cmd.Flags().StringVar(&shop.Address, "address", "", "address of the shop")
	addByFlag(cmd, &by)
	addOutFlag(cmd, &out)
	return cmd
}
