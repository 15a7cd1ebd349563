package main

import (
	"fmt"
	"io"
	"os"
	"time"

	"golang.org/x/term"

	"holdfast/bench/engine"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// progress shows a run while it goes on: one live line on a terminal, one line a step elsewhere.
type progress struct {
	out   io.Writer
	plan  *scenario.Plan
	live  bool
	step  int
	label string
	drawn clock.Instant // wall clock of the last drawing
}

// redraw is how often the live line is drawn anew: as often as a person can read it.
const redraw = 100 * time.Millisecond

// newProgress shows on out, which must not hold the run up; live says that a terminal is behind it.
func newProgress(out io.Writer, live bool, plan *scenario.Plan) *progress {
	return &progress{out: out, live: live, plan: plan, step: -1}
}

func isTerminal(out io.Writer) bool {
	f, ok := out.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// terminalWidth returns the width of a terminal in columns, 100 for anything else.
func terminalWidth(out io.Writer) int {
	if f, ok := out.(*os.File); ok {
		if width, _, err := term.GetSize(int(f.Fd())); err == nil {
			return width
		}
	}
	return 100
}

// show is called once a command cycle.
func (p *progress) show(g engine.Progress) {
	if g.Name != p.label || g.Step != p.step {
		p.label, p.step = g.Name, g.Step
		if !p.live {
			fmt.Fprintf(p.out, "%s\n", p.line(g))
		}
	}
	if now := clock.Real(); p.live && now.Sub(p.drawn) >= redraw {
		p.drawn = now
		if g.Left > 0 {
			p.above(g)
			return
		}
		fmt.Fprintf(p.out, "\r\x1b[K%s", p.line(g))
	}
}

// above draws the live line above the one on which a person types an answer, and leaves the cursor there.
func (p *progress) above(g engine.Progress) {
	left := g.Left.Round(time.Second)
	fmt.Fprintf(p.out, "\x1b7\x1b[1A\r\x1b[K%s  %s left to answer\x1b8", p.line(g), left)
}

// end leaves the live line.
func (p *progress) end() {
	if p.live {
		fmt.Fprint(p.out, "\r\x1b[K")
	}
}

// lastWord says how the bench was left: the one line that must be true on every way out.
func (p *progress) lastWord(o engine.Outcome) {
	if t := o.Trip; t != nil {
		fmt.Fprintf(p.out, "TRIP %s: %s, limit %s. Next: %s.\n", t.Name, t.Reading, t.Limit, t.Next)
	}
	switch {
	case o.SafeToOpen():
		fmt.Fprintf(p.out, "Line relieved: %.2f bar gauge, safe to open.\n", o.Pressure)
	case o.Fresh:
		fmt.Fprintf(p.out, "NOT SAFE TO OPEN: %.2f bar gauge in the line.\n", o.Pressure)
	default:
		fmt.Fprintln(p.out, "NOT KNOWN TO BE SAFE TO OPEN: no fresh pressure reading. Read the gauge on the line.")
	}
}

func (p *progress) line(g engine.Progress) string {
	pressure := "   -- bar"
	if g.Known {
		pressure = fmt.Sprintf("%5.2f bar", g.Pressure)
	}
	return fmt.Sprintf("step %2d/%d  %-22s %6.1f s  %s  drive %3.0f %%",
		min(g.Step+1, len(p.plan.Steps)), len(p.plan.Steps), g.Name, g.Elapsed.Seconds(), pressure, g.Drive)
}

// warn says beforehand what will make a pass impossible or worth less.
func warn(out io.Writer, p *scenario.Plan, r *rig.Rig) {
	for _, i := range r.Overdue(clock.Real().Time()) {
		fmt.Fprintf(out, "warning: calibration of %s was due on %s: no pass is possible\n",
			i.Channel, i.Due.Format(time.DateOnly))
	}
	if p.LimitsFrom == "shipped examples" {
		fmt.Fprintln(out, "warning: the limits are shipped examples: replace them with the data of the unit in front of you")
	}
}
