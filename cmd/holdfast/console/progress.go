package console

import (
	"fmt"
	"io"
	"math"
	"time"

	"holdfast/bench/engine"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
	"holdfast/j1939/unit"
)

// Progress shows a run while it goes on: one live line on a terminal, one line a step elsewhere.
type Progress struct {
	out   io.Writer
	plan  *scenario.Plan
	live  bool
	width int // of the terminal, characters; 0: as wide as it takes
	step  int
	label string
	told  bool          // why the run was tripped has been said
	drawn clock.Instant // wall clock of the last drawing
}

// Redraw is how often the live line is drawn anew: as often as a person can read it.
const Redraw = 100 * time.Millisecond

// NewProgress shows a plan on out, which must not hold the run up; live says that a terminal is behind it, as wide as width
// (characters).
func NewProgress(out io.Writer, live bool, width int, plan *scenario.Plan) *Progress {
	return &Progress{out: out, live: live, width: width, plan: plan, step: -1}
}

// Show is called once a command cycle.
func (p *Progress) Show(g engine.Progress) {
	p.trip(g.Trip)
	if g.Name != p.label || g.Step != p.step {
		p.label, p.step = g.Name, g.Step
		if !p.live {
			fmt.Fprintf(p.out, "%s\n", p.line(g))
		}
	}
	if now := clock.Real(); p.live && now.Sub(p.drawn) >= Redraw {
		p.drawn = now
		if g.Left > 0 {
			p.above(g)
			return
		}
		fmt.Fprintf(p.out, "\r\x1b[K%s", p.cut(p.line(g)))
	}
}

// above draws the live line above the one on which a person types an answer, and leaves the cursor there.
func (p *Progress) above(g engine.Progress) {
	left := Duration(g.Left.Round(time.Second))
	fmt.Fprintf(p.out, "\x1b7\x1b[1A\r\x1b[K%s\x1b8", p.cut(left+" left  "+p.line(g)))
}

// cut keeps the live line on one line of the terminal: a wrapped one could not be drawn over.
func (p *Progress) cut(line string) string {
	if r := []rune(line); p.width > 1 && len(r) >= p.width {
		return string(r[:p.width-1])
	}
	return line
}

// End leaves the live line.
func (p *Progress) End() {
	if p.live {
		fmt.Fprint(p.out, "\r\x1b[K")
	}
}

// trip says at once, and once, why a run has ended: the line may take a while to be relieved.
func (p *Progress) trip(t *samples.Trip) {
	if t == nil || p.told {
		return
	}
	p.told = true
	p.End()
	fmt.Fprintf(p.out, "TRIP %s: %s, limit %s. Next: %s.\n", t.Name, t.Reading, t.Limit, t.Next)
}

// LastWord says how the bench was left: the one line that must be true on every way out.
func (p *Progress) LastWord(o engine.Outcome) {
	p.trip(o.Trip)
	switch {
	case o.SafeToOpen():
		fmt.Fprintf(p.out, "Line relieved: %s bar gauge, safe to open.\n", unit.Decimals(o.Pressure, 2))
	case o.Fresh:
		fmt.Fprintf(p.out, "NOT SAFE TO OPEN: %.2f bar gauge in the line.\n", o.Pressure)
	default:
		Say(p.out, p.width, "", fmt.Sprintf("NOT KNOWN TO BE SAFE TO OPEN: %s. Read the gauge on the line.", o.Unknown()))
	}
}

func (p *Progress) line(g engine.Progress) string {
	pressure := "   -- bar"
	if g.Known {
		pressure = fmt.Sprintf("%5s bar", unit.Decimals(g.Pressure, 2))
	}
	drive := "--"
	if !math.IsNaN(g.Drive) {
		drive = unit.Decimals(g.Drive, 0)
	}
	return fmt.Sprintf("step %2d/%d  %-22s %6.1f s  %s  drive %3s %%",
		min(g.Step+1, len(p.plan.Steps)), len(p.plan.Steps), g.Name, g.Elapsed.Seconds(), pressure, drive)
}
