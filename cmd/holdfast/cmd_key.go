package main

import (
	"fmt"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/bench/seal"
)

func newKeyCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "key",
		Short: "Look after signing keys: yours, those you trust, those that may write in the shop's book",
		Long: `Every user has a signing key of their own in the user's configuration folder, and never among the
records. What it signs is believed by who trusts its public half: compare the fingerprint with its
holder before you trust it. Several people share the records when a key that may write in the shop's book
lets the others in.` + exitHelp,
	}
	cmd.AddCommand(newKeyShowCommand(), newKeyTrustCommand(), newKeyAdmitCommand(), newKeyRevokeCommand())
	return onlyGroup(cmd)
}

func newKeyShowCommand() *cobra.Command {
	var out string
	cmd := &cobra.Command{
		Use:   "show",
		Short: "Show your public key, the keys you trust, and who may write in the book",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			ring, err := seal.UserRing()
			if err != nil {
				return withStatus(exitUsage, err)
			}
			own, err := ring.Own()
			if err != nil {
				return withStatus(exitUsage, err)
			}
			known, err := ring.Known()
			if err != nil {
				return withStatus(exitUsage, err)
			}
			w := cmd.OutOrStdout()
			fmt.Fprintf(w, "yours     %s  %s\n", seal.Fingerprint(own.Public()), ring.PublicPath())
			shown := map[string]bool{seal.Fingerprint(own.Public()): true}
			for _, k := range known {
				if print := seal.Fingerprint(k); !shown[print] {
					shown[print] = true
					fmt.Fprintf(w, "trusted   %s\n", print)
				}
			}
			if why := ring.Loose(); why != "" {
				fmt.Fprintf(cmd.ErrOrStderr(), "warning: %s\n", why)
			}
			return withRecords(cmd.Context(), out, cmd.ErrOrStderr(), func(s *record.Store, _ string) error {
				writers, err := s.Writers(cmd.Context())
				t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
				for _, k := range writers {
					until := ""
					if k.Last > 0 {
						until = fmt.Sprintf("revoked: nothing after entry %d is believed", k.Last)
					}
					fmt.Fprintf(t, "in book\t%s\t%s\t%s\n", k.Print, report.Plain(orDash(k.Holder)), until)
				}
				if err != nil {
					return err
				}
				return t.Flush()
			})
		},
	}
	addOutFlag(cmd, &out)
	return cmd
}

func newKeyTrustCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "trust FILE",
		Short: "Trust another's public key from now on",
		Long: `Takes a public key file into your own configuration: what it sealed is believed. Compare the
fingerprint with its holder first; a key that came with the records proves nothing.` + exitHelp,
		Example: `  holdfast key trust /media/stick/signing.pub`,
		Args:    wants("FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			key, err := seal.ReadPublic(args[0])
			if err != nil {
				return withStatus(exitUsage, err)
			}
			ring, err := seal.UserRing()
			if err == nil {
				err = ring.Trust(key)
			}
			if err != nil {
				return withStatus(exitUsage, err)
			}
			fmt.Fprintf(cmd.OutOrStdout(), "trusted: %s\n", seal.Fingerprint(key))
			return nil
		},
	}
	return cmd
}

func newKeyAdmitCommand() *cobra.Command {
	var out, by, holder string
	cmd := &cobra.Command{
		Use:   "admit FILE --holder NAME",
		Short: "Let another's key write in the shop's book",
		Long: `Enters another's public key into the book, signed by yours: from then on its holder can run tests
and release units with these records.` + exitHelp,
		Example: `  holdfast key admit /home/sam/.config/holdfast/signing.pub --holder "S. Example"`,
		Args:    wants("FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			key, err := seal.ReadPublic(args[0])
			if err != nil {
				return withStatus(exitUsage, err)
			}
			return withRecords(cmd.Context(), out, cmd.ErrOrStderr(), func(s *record.Store, _ string) error {
				err := s.Admit(cmd.Context(), key, holder, person(by), now())
				if err == nil {
					fmt.Fprintf(cmd.OutOrStdout(), "%s (%s) may write in this book\n", seal.Fingerprint(key),
						report.Plain(holder))
				}
				return err
			})
		},
	}
	cmd.Flags().StringVar(&holder, "holder", "", "whose key it is")
	_ = cmd.MarkFlagRequired("holder")
	addByFlag(cmd, &by)
	addOutFlag(cmd, &out)
	return cmd
}

func newKeyRevokeCommand() *cobra.Command {
	var out, by string
	var after int64
	cmd := &cobra.Command{
		Use:   "revoke FINGERPRINT",
		Short: "Believe nothing more of a key that was lost or stolen",
		Long: `Enters into the book that nothing the key signed after an entry is believed: by default the last one
there is.` + exitHelp,
		Args: wants("FINGERPRINT"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return withRecords(cmd.Context(), out, cmd.ErrOrStderr(), func(s *record.Store, _ string) error {
				err := s.Revoke(cmd.Context(), args[0], after, person(by), now())
				if err == nil {
					fmt.Fprintf(cmd.OutOrStdout(), "%s is not believed any more\n", report.Plain(args[0]))
				}
				return err
			})
		},
	}
	cmd.Flags().Int64Var(&after, "after", -1, "number of the last entry of the book that is believed")
	addByFlag(cmd, &by)
	addOutFlag(cmd, &out)
	return cmd
}
