package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"time"

	"github.com/spf13/cobra"

	"holdfast/cmd/holdfast/simbench"
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/id"
	"holdfast/j1939/survey"
)

type scanOptions struct {
	from          string
	passive, json bool
	forTime       time.Duration
	conversions   []string
}

func newScanCommand() *cobra.Command {
	var o scanOptions
	cmd := &cobra.Command{
		Use:   "scan BUS|FILE",
		Short: "List who is on a J1939 bus: address, NAME, identification, hours, faults",
		Long: `Lists the controllers of a bus: address, NAME in words, component, software, hours and
active faults.

On an interface it first listens for a second and refuses a bus on which a vehicle is alive; then it claims an
address (249, or another one that is free) and asks everybody once for each: who they are (address claimed),
component identification, software, ECU identification, vehicle identification, hours. A controller that does
not answer is listed with what was heard from it.

--passive sends nothing: it listens for --for and lists what came by itself. That is the way on a
vehicle. A recording is always read so. sim is the simulated bench with a unit that has its own controller.` +
			exitHelp,
		Example: `  holdfast scan can0
  holdfast scan can0 --passive --for 30s
  holdfast scan key-on.log --json`,
		Args: wants("BUS|FILE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.from = args[0]
			return runScan(cmd.Context(), o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	cmd.Flags().BoolVar(&o.passive, "passive", false, "send nothing")
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object")
	cmd.Flags().DurationVar(&o.forTime, "for", 10*time.Second, "how long --passive listens")
	cmd.Flags().StringArrayVar(&o.conversions, "conversion", nil, conversionHelp)
	return cmd
}

func runScan(ctx context.Context, o scanOptions, out, errOut io.Writer) error {
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt)
	defer stop()
	var s survey.Survey
	if err := convert(&s, o.conversions); err != nil {
		return err
	}
	us, err := id.Null, error(nil)
	if isRecording(o.from) || o.passive {
		err = surveyFrom(ctx, &s, o.from, o.forTime)
	} else {
		us, err = askAll(ctx, &s, o.from, errOut)
	}
	if err != nil {
		return err
	}
	return printControllers(out, o.json, s.Controllers(us), "nobody was heard", (*survey.Controller).Text)
}

// askAll joins the bus and asks everybody; it returns our address.
func askAll(ctx context.Context, s *survey.Survey, bus string, errOut io.Writer) (uint8, error) {
	port, err := openSurveyBus(bus)
	if err != nil {
		return 0, err
	}
	defer port.Close()
	p, err := join(ctx, port, s.Hear, errOut)
	if err != nil {
		return 0, err
	}
	return p.Node().Address(), surveyStatus(s.AskAll(ctx, p))
}

const conversionHelp = "which `VERSION` a trouble code in the old form is: 1, 2, 3 or ADDRESS=VERSION, repeatable"

func convert(s *survey.Survey, texts []string) error {
	if err := s.Convert(texts); err != nil {
		return withStatus(exitUsage, fmt.Errorf("--conversion: %w", err))
	}
	return nil
}

// printControllers prints them as JSON, or each by lines; none is said when there are none.
func printControllers(out io.Writer, asJSON bool, all []survey.Controller, none string,
	lines func(*survey.Controller) string) error {
	if asJSON {
		return printJSON(out, survey.File{Holdfast: survey.Format, Controllers: all})
	}
	for i := range all {
		fmt.Fprint(out, lines(&all[i]))
	}
	if len(all) == 0 {
		fmt.Fprintln(out, none)
	}
	return nil
}

func isRecording(from string) bool {
	info, err := os.Stat(from)
	return err == nil && !info.IsDir()
}

// surveyFrom listens to a recording, an interface or the simulated bench.
func surveyFrom(ctx context.Context, s *survey.Survey, from string, d time.Duration) error {
	source, live, err := can.Source(nil), true, error(nil)
	if from == simbench.Bus {
		var port can.Port
		if port, err = openNodeBus(from); err != nil {
			return err
		}
		source = &limited{Source: port, end: port.Now().Add(d)}
	} else if source, live, err = openSource(from); err != nil {
		return err
	}
	defer source.Close()
	if live = live && from != simbench.Bus; live {
		var stop context.CancelFunc
		ctx, stop = context.WithTimeout(ctx, d)
		defer stop()
	}
	err = s.Listen(ctx, source, live)
	if h := source.Stats(); err == nil && !live && from != simbench.Bus && h.Received+h.ErrorFrames == 0 {
		err = noFrame(from)
	}
	return decodeStatus(err)
}

// limited ends a simulated bus after a time of its own.
type limited struct {
	can.Source
	end clock.Instant
}

func (l *limited) Receive(dst []can.Frame, _ clock.Instant) (int, error) {
	n, err := l.Source.Receive(dst, l.end)
	if n == 0 && err == nil {
		err = io.EOF
	}
	return n, err
}
