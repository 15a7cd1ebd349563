package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"holdfast/bench/report"
	"holdfast/cmd/holdfast/campaign"
	"holdfast/cmd/holdfast/console"
	"holdfast/j1939/clock"
)

type campaignOptions struct {
	scenario, rig, out string
	units, jobs        int
	seed               uint64
	only               int
	healthy, several   float64
	trouble, spread    float64
	room, tank         float64
	faults, problems   []string
	severity           string
	json               bool
	lies               []string
	world, bus         string
	set                []string
	troubled           bool // --bench-problems was given
	lying              float64
	repeats            int
}

func newCampaignCommand() *cobra.Command {
	var o campaignOptions
	cmd := &cobra.Command{
		Use:   "campaign SCENARIO --rig RIG",
		Short: "Test many simulated units and count how often the harness is right",
		Long: `Draws units with random spread, instrument errors and faults, tests each on the simulated bench
in virtual time, and compares the answers with the truth: verdicts (wrong passes and
wrong fails), causes (which fault was taken for which), coverage (how often the stated
interval holds the true value), mix-ups (a sensor for its supply, a bench for a unit, and the other way), whether
stated probabilities come true, and the worst units, each with the line that tests it again.

--fault A,B,... draws only these faults, --severity 0.05..0.35 only light ones, --several 1 two at a time; with
--bench-problems 0.5 every other unit is in order and its bench is not. Questions of a scenario are answered
by a simulated person who knows the truth.

--world own and --world other make tables that are the same for both: true values from the plant's own course and
never by the harness's formulas, Brier and log scores of the causes, --repeats of a unit against what each test
states, and what is said where --lying benches have an instrument that lies. The other world is a simulation by
somebody else in lock-step (--bus lockstep:PATH; go run ./sim/other lockstep:PATH), which tells the truth at the end.

The same seed gives the same bytes, whatever the number of jobs. --out keeps campaign.txt,
campaign.json, units.csv (every value of every unit beside the true one) and confusion.csv (which
fault was named as which) in a folder;
--only N tests one unit of the campaign again and shows everything of it.
It opens no CAN interface.` + exitHelp,
		Example: `  holdfast campaign release --rig bench-node --units 2000 --seed 1
  holdfast campaign release --rig bench-node --units 200 --fault membrane-split --healthy 0
  holdfast campaign release --rig bench-node --healthy 0 --several 0 --bench-problems 0 \
      --fault sensor-supply-lost,sensor-offset,sensor-gain,sensor-noisy
  holdfast campaign release --rig bench-node --severity 0.05..0.35 --several 0.4`,
		Args: wants("SCENARIO"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.scenario, o.troubled = args[0], cmd.Flags().Changed("bench-problems")
			return runCampaign(cmd.Context(), o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	o.addFlags(cmd)
	return cmd
}

func (o *campaignOptions) addFlags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.StringVar(&o.rig, "rig", "", "rig file, or the name of a shipped one")
	f.IntVar(&o.units, "units", 2000, "how many units")
	f.Uint64Var(&o.seed, "seed", 1, "seed of the campaign")
	f.IntVar(&o.only, "only", -1, "test this unit of the campaign alone and show its values beside the true ones")
	f.IntVar(&o.jobs, "jobs", runtime.NumCPU(), "units tested at a time")
	f.Float64Var(&o.healthy, "healthy", campaign.UsualHealthy, "share of units without a fault, 0..1")
	f.Float64Var(&o.several, "several", campaign.UsualSeveral, "share of units with two faults, 0..1")
	f.Float64Var(&o.trouble, "bench-problems", campaign.UsualTrouble,
		"share of healthy units whose bench or bus has a problem, 0..1")
	f.Float64Var(&o.spread, "spread", 1, "spread of units and benches; 1 is that of good ones of one kind")
	f.Float64Var(&o.room, "room", 0, "largest difference of a room from 22 °C, K")
	f.Float64Var(&o.tank, "tank", 0, "largest difference of the fluid in the tank from the room, K")
	f.StringSliceVar(&o.faults, "fault", nil,
		"draw only these faults; naming one twice doubles its share (default: all)")
	f.StringVar(&o.severity, "severity", "0.05..1", "severities drawn, from the lightest to the heaviest")
	f.StringSliceVar(&o.problems, "bench-problem", nil, "draw only these problems of bench and bus (default: all)")
	f.StringVar(&o.world, "world", "",
		"own or other: true values from the plant alone, and tables that are the same for both (see above)")
	f.StringVar(&o.bus, "bus", "", "with --world other: lockstep:PATH, where the simulation listens")
	f.StringArrayVar(&o.set, "set", nil, "with --world other: KEY=VALUE that the simulation knows, repeatable")
	f.Float64Var(&o.lying, "lying", 0,
		"with --world: share of the units without a fault on whose bench an instrument lies, 0..1")
	f.IntVar(&o.repeats, "repeats", 1, "with --world: how often each unit is tested on its bench")
	f.StringArrayVar(&o.lies, "lie", nil,
		"make an instrument of every bench lie, as return_flow=gain:15 %; holdfast run --help has the table")
	f.StringVar(&o.out, "out", "", "folder for campaign.txt, campaign.json, units.csv and confusion.csv")
	f.BoolVar(&o.json, "json", false, "print campaign.json instead of the tables")
	_ = cmd.MarkFlagRequired("rig") // fails only for a flag that does not exist
}

func runCampaign(ctx context.Context, o campaignOptions, out, errOut io.Writer) error {
	plan, r, err := loadPlanAndRig(o.scenario, o.rig)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
	defer stop()
	bar := &countdown{out: errOut, live: console.IsTerminal(errOut), began: clock.Real()}
	c := campaign.Config{Plan: plan, Rig: r, Units: o.units, Seed: o.seed, Jobs: o.jobs, Healthy: o.healthy,
		Several: o.several, Trouble: o.trouble, Faults: o.faults, Troubles: o.problems, Spread: o.spread,
		Room: o.room, Tank: o.tank, Lies: o.lies, Progress: bar.show}
	if err := o.worldly(&c); err != nil {
		return withStatus(exitUsage, err)
	}
	if c.Lightest, c.Heaviest, err = severities(o.severity); err != nil {
		return withStatus(exitUsage, err)
	}
	if o.only >= 0 {
		return oneOfCampaign(ctx, c, o.only, out)
	}
	summary, err := campaign.Run(ctx, c)
	bar.end()
	switch {
	case errors.Is(err, context.Canceled):
		return withStatus(exitStopped, errors.New("campaign stopped: nothing was counted"))
	case err != nil:
		return withStatus(exitUsage, err)
	}
	summary.Scenario, summary.Rig = o.scenario, o.rig // as a person types them again
	summary.Itself = o.itself()
	if o.out != "" {
		if err := keepCampaign(o.out, summary); err != nil {
			return withStatus(exitInternal, err)
		}
	}
	if o.json {
		return campaignJSON(out, summary)
	}
	return summary.Text(out)
}

// worldly adds what belongs to a campaign by world.
func (o *campaignOptions) worldly(c *campaign.Config) error {
	c.World, c.Lying, c.Repeats = o.world, o.lying, o.repeats
	path, granted := lockstepPath(o.bus)
	if o.bus != "" && !granted {
		return fmt.Errorf("--bus %s: a campaign joins a simulation in lock-step, lockstep:PATH", o.bus)
	}
	c.Peer = path
	if o.world == campaign.WorldOther && !o.troubled {
		c.Trouble = 0
	}
	for _, text := range o.set {
		key, value, ok := strings.Cut(text, "=")
		if !ok || key == "" {
			return fmt.Errorf("--set %q: KEY=VALUE would do", text)
		}
		if c.Set == nil {
			c.Set = map[string]string{}
		}
		c.Set[key] = value
	}
	return nil
}

// worldFlags are those of a campaign by world, as they are typed again.
func (o *campaignOptions) worldFlags() string {
	if o.world == "" {
		return ""
	}
	line := fmt.Sprintf(" --world %s --lying %g --repeats %d", o.world, o.lying, o.repeats)
	if o.bus != "" {
		line += " --bus " + o.bus
	}
	for _, text := range o.set {
		line += fmt.Sprintf(" --set %q", text)
	}
	return line
}

// itself is the line that runs this campaign again.
func (o *campaignOptions) itself() string {
	line := fmt.Sprintf("holdfast campaign %s --rig %s --seed %d --healthy %g --several %g --bench-problems %g "+
		"--spread %g --room %g --tank %g --severity %s", o.scenario, o.rig, o.seed, o.healthy, o.several, o.trouble,
		o.spread, o.room, o.tank, o.severity)
	if len(o.faults) > 0 {
		line += " --fault " + strings.Join(o.faults, ",")
	}
	if len(o.problems) > 0 {
		line += " --bench-problem " + strings.Join(o.problems, ",")
	}
	return line + lieFlags(o.lies) + o.worldFlags()
}

// severities reads FROM..TO.
func severities(text string) (least, most float64, err error) {
	from, to, found := strings.Cut(text, "..")
	least, err1 := strconv.ParseFloat(from, 64)
	most, err2 := strconv.ParseFloat(to, 64)
	if !found || err1 != nil || err2 != nil {
		return 0, 0, fmt.Errorf("--severity %q: write FROM..TO, for example 0.05..0.35", text)
	}
	return least, most, nil
}

// oneOfCampaign tests one unit again.
func oneOfCampaign(ctx context.Context, c campaign.Config, number int, out io.Writer) error {
	if err := c.Check(); err != nil {
		return withStatus(exitUsage, err)
	}
	u, result, err := c.Perform(ctx, c.Draw(number))
	if err != nil {
		return withStatus(exitUsage, err)
	}
	if err := report.Table(out, result, console.Width(out), console.IsTerminal(out)); err != nil {
		return withStatus(exitInternal, err)
	}
	return u.Table(out)
}

// keepCampaign writes the summary into a folder. What stands there under the same names is replaced.
func keepCampaign(dir string, s *campaign.Summary) error {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for name, write := range map[string]func(io.Writer) error{
		"campaign.txt":  s.Text,
		"campaign.json": func(w io.Writer) error { return campaignJSON(w, s) },
		"units.csv":     s.CSV,
		"confusion.csv": s.Matrix,
	} {
		if err := writeFile(filepath.Join(dir, name), write); err != nil {
			return err
		}
	}
	return nil
}

func writeFile(path string, write func(io.Writer) error) error {
	f, err := os.Create(path)
	if err != nil {
		return err
	}
	return errors.Join(write(f), f.Close())
}

func campaignJSON(out io.Writer, s *campaign.Summary) error {
	e := json.NewEncoder(out)
	e.SetIndent("", "  ")
	return e.Encode(s)
}

// countdown is a progress bar with the time left: one live line on a terminal, a line at each
// tenth elsewhere.
type countdown struct {
	out   io.Writer
	live  bool
	began clock.Instant
	drawn clock.Instant
	tenth int
}

func (c *countdown) show(done, of int) {
	now := clock.Real()
	if c.live && now.Sub(c.drawn) < console.Redraw && done < of {
		return
	}
	if tenth := 10 * done / of; !c.live {
		if tenth == c.tenth {
			return
		}
		c.tenth = tenth
	}
	c.drawn = now
	line := barLine(done, of, now.Sub(c.began))
	if c.live {
		fmt.Fprintf(c.out, "\r\x1b[K%s", line)
		return
	}
	fmt.Fprintln(c.out, line)
}

func barLine(done, of int, passed time.Duration) string {
	const width = 30
	full := width * done / of
	left := time.Duration(float64(passed) / float64(done) * float64(of-done))
	return fmt.Sprintf("[%s%s] %d/%d units, %s left", strings.Repeat("#", full), strings.Repeat(".", width-full),
		done, of, left.Round(time.Second))
}

func (c *countdown) end() {
	if c.live {
		fmt.Fprint(c.out, "\r\x1b[K")
	}
}
