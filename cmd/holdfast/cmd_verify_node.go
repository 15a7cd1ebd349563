package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"holdfast/bench/proof"
	"holdfast/bench/record"
	"holdfast/bench/rig"
)

type verifyNodeOptions struct {
	rig, bus, out, by string
	yes, json         bool
}

func newVerifyNodeCommand() *cobra.Command {
	var o verifyNodeOptions
	cmd := &cobra.Command{
		Use:   "verify-node --rig RIG --bus BUS",
		Short: "Prove the bench's I/O node over the bus, with no unit connected",
		Long: `Holds the node against what the rig file says of it: every channel heard, valid, at its rate and at rest; its
counters moving; how late its answers are; the return shut-off seen to shut and to open; and, with commands held
back on purpose, its time-out and its safe state. The result is kept in the book with its date.

Do this when a node was built, changed or given new software, before a unit is connected to it. It drives no pump, no
heater and no dosing valve. What no channel shows is listed as not tested: look at it yourself.

The bus is listened to for a second first; on a vehicle, or beside another program that commands, nothing is sent.
Status 0: nothing was bad; 1: something was.` + exitHelp,
		Example: "  holdfast verify-node --rig bench-node --bus can0",
		Args:    cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runVerifyNode(cmd.Context(), o, cmd.InOrStdin(), cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.rig, "rig", "", "rig file, or the name of a shipped one")
	f.StringVar(&o.bus, "bus", "", "CAN interface, sim, or unix:PATH")
	f.BoolVar(&o.yes, "yes", false, "no unit is connected: do not ask")
	f.BoolVar(&o.json, "json", false, "print what was found as JSON")
	addByFlag(cmd, &o.by)
	addOutFlag(cmd, &o.out)
	for _, name := range []string{"rig", "bus"} {
		_ = cmd.MarkFlagRequired(name) // fails only for a flag that does not exist
	}
	return cmd
}

func runVerifyNode(ctx context.Context, o verifyNodeOptions, in io.Reader, out, errOut io.Writer) error {
	r, err := loadRig(o.rig)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	store, err := outFolder(o.out)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	if !o.yes {
		fmt.Fprint(errOut, "No unit may be connected, and nobody's hand at the valves. Type yes to start: ")
		var answer string
		if _, err := fmt.Fscanln(in, &answer); err != nil || answer != "yes" {
			return withStatus(exitUsage, errors.New("nothing was moved: not confirmed (--yes confirms beforehand)"))
		}
	}
	began := now()
	items, err := lookAt(ctx, r, o.bus, proof.Options{TimeOut: true})
	if err != nil {
		return err
	}
	hash := sha256.Sum256(r.Text)
	note := record.NodeNote{Rig: r.Name, RigHash: hex.EncodeToString(hash[:]), Simulated: noHardware(o.bus), Began: began,
		Good: proof.AllGood(items)}
	for _, i := range items {
		note.Items = append(note.Items, record.NodeItem{What: i.What, State: i.State.String(), Found: i.Found, Wanted: i.Wanted})
	}
	if err := withRecords(ctx, store, errOut, func(s *record.Store, _ string) error {
		return s.AddNodeCheck(ctx, note, person(o.by), now())
	}); err != nil {
		return err
	}
	if o.json {
		if err := printJSON(out, note); err != nil {
			return err
		}
	} else if err := showItems(out, items); err != nil {
		return err
	}
	if !note.Good {
		return withStatus(exitFail, nil)
	}
	return nil
}

// lookAt opens a bus and takes it through the proof.
func lookAt(ctx context.Context, r *rig.Rig, bus string, o proof.Options) ([]proof.Item, error) {
	port, err := openBus(runOptions{bus: bus, seed: 1}, r)
	if err != nil {
		return nil, err
	}
	defer port.Close()
	items, err := proof.Look(ctx, port, r, o)
	switch {
	case errors.Is(err, context.Canceled):
		return nil, withStatus(exitStopped, errors.New("stopped: the node has its safe state"))
	case err != nil:
		return nil, withStatus(exitBus, err)
	}
	return items, nil
}

// showItems prints what was looked at, what is bad first.
func showItems(out io.Writer, items []proof.Item) error {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	for _, state := range []proof.State{proof.Bad, proof.Good, proof.NotTested} {
		for _, i := range items {
			if i.State == state {
				fmt.Fprintf(w, "%s\t%s\t%s\t%s\n", i.State, i.What, i.Found, i.Wanted)
			}
		}
	}
	if err := w.Flush(); err != nil {
		return withStatus(exitInternal, err)
	}
	return nil
}
