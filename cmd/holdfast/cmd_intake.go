package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"

	"holdfast/bench/record"
	"holdfast/bench/shop"
	"holdfast/j1939/can"
	"holdfast/j1939/trace"
)

type intakeOptions struct {
	out, serial, kind, owner, complaint, by, from string
	hours                                         float64
	faults, parts                                 []string
	listen                                        time.Duration
	json                                          bool
}

func newIntakeCommand() *cobra.Command {
	var o intakeOptions
	cmd := &cobra.Command{
		Use:   "intake --serial S",
		Short: "Take a unit in: complaint, hours, fault codes as found",
		Long: `Opens a visit for a unit. Runs with this serial belong to the visit until it is
released. For a unit that is in the shop already it adds to the open visit: what is said replaces
what was said before, fault codes and parts are added.

Fault codes are typed as SPN/FMI or SPN/FMI/COUNT, or read (DM1 active, DM2 previously active) from
a recording or, listening only, from a bus.` + exitHelp,
		Example: `  holdfast intake --serial HF-2041 --hours 18400 --complaint "no pressure, lamp on" --fault 4334/18
  holdfast intake --serial HF-2041 --faults-from key-on.pcapng --owner "job 1733"
  holdfast intake --serial HF-2041 --part "pump membrane" --part "seal kit"`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runIntake(cmd.Context(), o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.serial, "serial", "", "serial number of the unit")
	f.StringVar(&o.kind, "kind", "", "kind of unit, in your words")
	f.Float64Var(&o.hours, "hours", 0, "operating hours of the unit, h")
	f.StringVar(&o.owner, "owner", "", "your reference to the owner or the job")
	f.StringVar(&o.complaint, "complaint", "", "what the owner complains of")
	f.StringArrayVar(&o.faults, "fault", nil, "fault code as found, `SPN/FMI` or SPN/FMI/COUNT, repeatable")
	f.StringVar(&o.from, "faults-from", "", "read fault codes from a recording or a CAN interface")
	f.DurationVar(&o.listen, "listen", 5*time.Second, "how long to listen to an interface")
	f.StringArrayVar(&o.parts, "part", nil, "part fitted, repeatable")
	f.BoolVar(&o.json, "json", false, "print the visit as JSON")
	addByFlag(cmd, &o.by)
	addOutFlag(cmd, &o.out)
	_ = cmd.MarkFlagRequired("serial")
	return cmd
}

func runIntake(ctx context.Context, o intakeOptions, out, errOut io.Writer) error {
	if !(o.hours >= 0 && o.hours <= mostHours) {
		return withStatus(exitUsage, fmt.Errorf("--hours: hours are 0 or more, at most %.0f", float64(mostHours)))
	}
	faults, err := faultsSeen(ctx, o)
	if err != nil {
		return err
	}
	note := record.Note{Time: now(), By: person(o.by), Serial: o.serial, UnitKind: o.kind, Hours: o.hours,
		Owner: o.owner, Complaint: o.complaint, Faults: faults, Parts: o.parts}
	return withRecords(ctx, o.out, errOut, func(s *record.Store, _ string) error {
		id, opened, err := shop.TakeIn(ctx, s, note)
		if err != nil {
			return err
		}
		did := "added to "
		if opened {
			did = "opened "
		}
		return printVisit(ctx, s, id, did, o.json, out)
	})
}

// faultsSeen collects the codes that a unit came in with: typed ones, then those read.
func faultsSeen(ctx context.Context, o intakeOptions) ([]record.FaultSeen, error) {
	var all []record.FaultSeen
	for _, text := range o.faults {
		f, err := shop.ParseFault(text)
		if err != nil {
			return nil, withStatus(exitUsage, fmt.Errorf("--fault %w", err))
		}
		all = append(all, f)
	}
	if o.from == "" {
		return all, nil
	}
	read, err := readFaults(ctx, o)
	return append(all, read...), err
}

// readFaults reads fault codes from a recording or, for a while, from an interface.
func readFaults(ctx context.Context, o intakeOptions) ([]record.FaultSeen, error) {
	source, live, err := openSource(o.from)
	if err != nil {
		return nil, err
	}
	defer source.Close()
	stream := trace.Replay
	if live {
		var stop context.CancelFunc
		ctx, stop = context.WithTimeout(ctx, o.listen)
		defer stop()
		stream = trace.Listen
	}
	codes := shop.NewCodes(o.from)
	var d trace.Decoder
	err = stream(ctx, source, func(frames []can.Frame) error {
		d.Feed(frames, codes.Add)
		return nil
	})
	if errors.Is(err, context.DeadlineExceeded) {
		err = nil // the time to listen was over
	}
	return codes.Seen(), decodeStatus(err)
}
