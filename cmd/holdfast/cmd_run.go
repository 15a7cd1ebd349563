package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"
	"golang.org/x/term"

	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/bench/scenario/scenariofile"
	"holdfast/cmd/holdfast/console"
	"holdfast/cmd/holdfast/lies"
	"holdfast/cmd/holdfast/oplog"
	"holdfast/cmd/holdfast/simbench"
)

type runOptions struct {
	scenario, rig, bus, serial, out, by string
	unitHours                           float64
	faults                              faultsFlag
	lies                                []string // what instruments do
	seed                                uint64
	seeded                              bool // --seed was given
	realTime, yes, json, priority       bool
	answers                             string
	acceptUndecided                     bool
	level                               oplog.Level
}

func newRunCommand() *cobra.Command {
	var o runOptions
	cmd := &cobra.Command{
		Use:   "run SCENARIO --rig RIG --bus BUS --serial S",
		Short: "Run a test on a unit, judge it and keep the record",
		Long: `Runs a scenario on a bench, computes what the unit does with its uncertainty, decides
pass, fail or undecided by the scenario's rule, names the likely cause and keeps the record:
frames.pcapng, the journal, result.json, report.html and junit.xml in a folder of the run.

SCENARIO and RIG are a path or the name of a shipped one. BUS is a CAN interface (can0),
sim, the simulated bench, unix:PATH, a bus that holdfast sim has made between processes of
this computer, or lockstep:PATH, a simulation by anybody that waits for the harness, so that a run takes
seconds (the protocol: j1939/can/lockstep/doc.go). Nothing moves before you have said yes (or --yes).

The bus is listened to for a second before anything is sent on it. Where an engine runs, wheels turn or a
controller sends that the rig file does not declare, the run is refused: on a vehicle this tool only listens.

Ctrl-C relieves the line and ends the run; a second Ctrl-C, or Ctrl-\, ends at once. All leave the bench in its
safe state. A run that is cut off leaves that to the bench node; holdfast recover closes its record.

` + lies.Help() + exitHelp,
		Example: `  holdfast run release --rig bench-node --bus can0 --serial HF-2041 --unit-hours 18400
  holdfast run release --rig bench-node --bus sim --serial DEMO-1 --fault membrane-split=0.6 --yes
  holdfast run release --rig bench-node --bus sim --serial DEMO-2 --lie "return_flow=gain:15 %" --yes`,
		Args: wants("SCENARIO"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.scenario, o.seeded = args[0], cmd.Flags().Changed("seed")
			return runRun(cmd.Context(), o, cmd.InOrStdin(), cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	o.addFlags(cmd)
	return cmd
}

func (o *runOptions) addFlags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.rig, "rig", "", "rig file, or the name of a shipped one")
	f.StringVar(&o.bus, "bus", "", "CAN interface, sim, unix:PATH or lockstep:PATH")
	f.StringVar(&o.serial, "serial", "", "serial number of the unit")
	f.Float64Var(&o.unitHours, "unit-hours", 0, "operating hours of the unit, h")
	f.StringVar(&o.out, "out", "", "folder for the records (default: holdfast/runs in the user's data folder)")
	f.Var(&o.faults, "fault", "with --bus sim and lockstep:PATH: NAME=SEVERITY (0..1), repeatable; holdfast sim --help lists the names")
	f.StringArrayVar(&o.lies, "lie", nil,
		"on a simulated bus: make an instrument lie, as line_pressure=stuck@120s..130s; repeatable, see above")
	f.Uint64Var(&o.seed, "seed", 1, "with --bus sim and lockstep:PATH: seed of the simulated unit and instruments")
	f.BoolVar(&o.realTime, "real-time", false, "with --bus sim: run as slowly as a real bench")
	f.BoolVar(&o.priority, "priority", false,
		"ask for real-time priority and locked memory, and say what was granted")
	f.BoolVar(&o.yes, "yes", false, "do not ask before anything moves, nor what the scenario asks")
	addByFlag(cmd, &o.by)
	f.StringVar(&o.answers, "answers", "", "file that answers the scenario's questions beforehand")
	f.BoolVar(&o.acceptUndecided, "accept-undecided", false, "run a plan that cannot end in a pass")
	f.BoolVar(&o.json, "json", false, "print result.json instead of the table")
	addLogFlag(cmd, &o.level, zerolog.Disabled)
	for _, name := range []string{"rig", "bus", "serial"} {
		_ = cmd.MarkFlagRequired(name) // fails only for a flag that does not exist
	}
}

// check finds what is wrong with the flags themselves.
func (o *runOptions) check() error {
	if _, err := record.Serial(o.serial); err != nil {
		return fmt.Errorf("--serial: %w", err)
	}
	if !(o.unitHours >= 0 && o.unitHours <= mostHours) {
		return fmt.Errorf("--unit-hours: hours are 0 or more, at most %.0f", float64(mostHours))
	}
	switch {
	case !virtualTime(o.bus) && (len(o.faults.Map()) > 0 || o.realTime):
		return fmt.Errorf("--fault and --real-time go with --bus sim; %s is a real bus", o.bus)
	case !noHardware(o.bus) && len(o.lies) > 0:
		return fmt.Errorf("--lie goes with --bus sim, unix:PATH and lockstep:PATH; %s is a real bus", o.bus)
	case o.bus != simbench.Bus && o.realTime:
		return fmt.Errorf("--real-time goes with --bus sim; %s waits for the harness", o.bus)
	}
	return nil
}

const mostHours = 1_000_000 // operating hours: more than a century

func runRun(ctx context.Context, o runOptions, in io.Reader, out, errOut io.Writer) error {
	if err := o.check(); err != nil {
		return withStatus(exitUsage, err)
	}
	plan, r, err := loadPlanAndRig(o.scenario, o.rig)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	answers, err := readAnswers(o.answers, plan)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	if err := refuseUnbounded(r, o.bus); err != nil {
		return withStatus(exitUsage, err)
	}
	if err := refuseHopeless(plan, r, o.acceptUndecided, errOut); err != nil {
		return withStatus(exitUsage, err)
	}
	warn(errOut, plan, r)
	if err := o.warnUnverified(r, errOut); err != nil {
		return withStatus(exitUsage, err)
	}
	if !o.yes && !confirm(in, errOut, plan, r, o.bus) {
		return withStatus(exitUsage, errors.New("nothing was moved: not confirmed (--yes confirms beforehand)"))
	}
	screen := console.NewScreen(errOut)
	run, err := openRun(ctx, o, plan, r, screen, errOut)
	if err != nil {
		return err
	}
	defer run.Close()
	if o.priority {
		fmt.Fprintln(errOut, askPriority())
	}
	if !o.attended(in, errOut) {
		in = nil
	}
	asker := console.NewAsker(answers, in, screen, console.Width(errOut))
	result, status := perform(ctx, run, plan, asker, screen, errOut)
	if result != nil {
		_ = printResult(out, result, o.json) // nobody may be reading any more; the record has it
	}
	return withStatus(status, nil)
}

// attended says whether a person is there to answer what the scenario asks: at a terminal, not waved through by
// --yes, and not in virtual time, which waits for nobody.
func (o *runOptions) attended(in io.Reader, errOut io.Writer) bool {
	f, ok := in.(*os.File)
	return ok && term.IsTerminal(int(f.Fd())) && console.IsTerminal(errOut) && !o.yes &&
		(!virtualTime(o.bus) || o.realTime)
}

// confirm asks before anything moves. What is not a clear yes is a no.
func confirm(in io.Reader, out io.Writer, p *scenario.Plan, r *rig.Rig, bus string) bool {
	width := console.Width(out)
	console.Say(out, width, "", fmt.Sprintf("%s on %s over %s.", report.Plain(p.Title), report.Plain(r.Title), bus))
	console.Say(out, width, "", fmt.Sprintf("The pump will run and build up to %.4g bar. Before you say yes:",
		highestPressure(p)))
	for _, caution := range []string{
		"eye protection on; every fitting tight; nobody's hand at the dosing valve's outlet",
		"supply and heater leads dry and covered; surfaces may be hot",
		"DEF (AUS 32) off skin and connectors; the unit maker's data and local rules come first"} {
		console.Say(out, width, "  - ", caution)
	}
	fmt.Fprint(out, "Type yes to start: ")
	var answer string
	_, err := fmt.Fscanln(in, &answer)
	return err == nil && strings.EqualFold(answer, "yes")
}

func highestPressure(p *scenario.Plan) float64 {
	highest := 0.0
	for _, s := range p.Steps {
		highest = max(highest, s.Pressure)
	}
	return highest
}

// loadPlanAndRig reads both files and holds them against each other.
func loadPlanAndRig(scenarioArg, rigArg string) (*scenario.Plan, *rig.Rig, error) {
	plan, planErr := loadScenario(scenarioArg)
	r, rigErr := loadRig(rigArg)
	if err := errors.Join(planErr, rigErr); err != nil {
		return nil, nil, err
	}
	return plan, r, scenariofile.Fits(plan, r)
}
