package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"time"

	"github.com/spf13/cobra"

	"holdfast/j1939/can"
	"holdfast/j1939/diag"
	"holdfast/j1939/id"
	"holdfast/j1939/survey"
)

const (
	dm3  = uint64(diag.DM3)
	dm11 = uint64(diag.DM11)
)

type faultsOptions struct {
	from                         string
	previous, freeze, clear, yes bool
	json                         bool
	addresses, conversions       []string
	forTime                      time.Duration
}

func newFaultsCommand() *cobra.Command {
	var o faultsOptions
	cmd := &cobra.Command{
		Use:   "faults BUS|FILE",
		Short: "Show trouble codes by controller, with what they mean, or clear them",
		Long: `Lists the trouble codes of every controller: lamps, SPN, failure mode, what the pair usually means
at the bench. On an interface it listens for the time of --for to what comes by itself (DM1, active codes)
and sends nothing.

--previous asks everybody for previously active codes (DM2), --freeze for freeze frames (DM4, DM25): both
send, so that a bus on which a vehicle is alive is refused. From a recording they show what is in it.

--clear clears the active codes (DM11) of one controller after the other, with --previous the previously
active ones too (DM3): it shows what would be cleared, asks for each, and keeps what was cleared, when, whose,
and the controller's answer in cleared-faults.jsonl beside the runs. Clear a code only after the repair that
it asked for: the freeze frame and the readiness of monitors may go with it, and local rules may require the
record. It refuses while an engine runs or a vehicle moves. --address names the controllers (repeatable);
without it, all that have codes.

Status 1 when a controller did not clear its codes.` + exitHelp,
		Example: `  holdfast faults can0
  holdfast faults key-on.log --previous --freeze
  holdfast faults can0 --clear --previous --address 61`,
		Args: wants("BUS|FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.from = args[0]
			return runFaults(cmd.Context(), o, cmd.InOrStdin(), cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.BoolVar(&o.previous, "previous", false, "previously active codes too")
	f.BoolVar(&o.freeze, "freeze", false, "freeze frames too")
	f.BoolVar(&o.clear, "clear", false, "clear the codes, after asking")
	f.BoolVar(&o.yes, "yes", false, "with --clear: do not ask")
	f.StringArrayVar(&o.addresses, "address", nil, "with --clear: `ADDRESS` of a controller to clear, repeatable")
	f.StringArrayVar(&o.conversions, "conversion", nil, conversionHelp)
	f.BoolVar(&o.json, "json", false, "print one JSON object")
	f.DurationVar(&o.forTime, "for", 5*time.Second, "how long to listen on an interface when nothing is asked")
	return cmd
}

func (o *faultsOptions) check() error {
	switch {
	case o.clear && isRecording(o.from):
		return fmt.Errorf("%s is a recording: codes are cleared on a bus; name its CAN interface", o.from)
	case o.clear && o.json:
		return errors.New("--clear asks questions: leave --json out")
	case !o.clear && (o.yes || len(o.addresses) > 0):
		return errors.New("--yes and --address go with --clear: without it codes are only shown")
	}
	return nil
}

func runFaults(ctx context.Context, o faultsOptions, in io.Reader, out, errOut io.Writer) error {
	if err := o.check(); err != nil {
		return withStatus(exitUsage, err)
	}
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt)
	defer stop()
	var s survey.Survey
	if err := convert(&s, o.conversions); err != nil {
		return err
	}
	us := id.Null
	switch {
	case o.clear:
		return o.clearOn(ctx, &s, in, out, errOut)
	case isRecording(o.from) || !o.previous && !o.freeze:
		if err := surveyFrom(ctx, &s, o.from, o.forTime); err != nil {
			return err
		}
	default:
		port, err := openSurveyBus(o.from)
		if err != nil {
			return err
		}
		defer port.Close()
		p, err := o.ask(ctx, port, &s, errOut)
		if err != nil {
			return err
		}
		us = p.Node().Address()
	}
	return printControllers(out, o.json, survey.WithFaults(s.Controllers(us), o.wanted()),
		"no list of trouble codes was heard", (*survey.Controller).FaultText)
}

func (o *faultsOptions) wanted() survey.Wanted {
	return survey.Wanted{Previous: o.previous, Freeze: o.freeze, Vehicle: o.clear}
}

// ask joins the bus and asks for the fault lists that are wanted.
func (o *faultsOptions) ask(ctx context.Context, port can.Port, s *survey.Survey,
	errOut io.Writer) (*survey.Participant, error) {
	p, err := join(ctx, port, s.Hear, errOut)
	if err != nil {
		return nil, err
	}
	return p, surveyStatus(s.AskFaults(ctx, p, o.wanted()))
}
