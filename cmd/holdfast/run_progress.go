package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"time"

	"golang.org/x/term"

	"holdfast/bench/engine"
	"holdfast/bench/report"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
	"holdfast/j1939/unit"
)

// progress shows a run while it goes on: one live line on a terminal, one line a step elsewhere.
type progress struct {
	out   io.Writer
	plan  *scenario.Plan
	live  bool
	width int // of the terminal, characters; 0: as wide as it takes
	step  int
	label string
	told  bool          // why the run was tripped has been said
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
	p.trip(g.Trip)
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
		fmt.Fprintf(p.out, "\r\x1b[K%s", p.cut(p.line(g)))
	}
}

// above draws the live line above the one on which a person types an answer, and leaves the cursor there.
func (p *progress) above(g engine.Progress) {
	left := lasting(g.Left.Round(time.Second))
	fmt.Fprintf(p.out, "\x1b7\x1b[1A\r\x1b[K%s\x1b8", p.cut(left+" left  "+p.line(g)))
}

// cut keeps the live line on one line of the terminal: a wrapped one could not be drawn over.
func (p *progress) cut(line string) string {
	if r := []rune(line); p.width > 1 && len(r) >= p.width {
		return string(r[:p.width-1])
	}
	return line
}

// end leaves the live line.
func (p *progress) end() {
	if p.live {
		fmt.Fprint(p.out, "\r\x1b[K")
	}
}

// trip says at once, and once, why a run has ended: the line may take a while to be relieved.
func (p *progress) trip(t *samples.Trip) {
	if t == nil || p.told {
		return
	}
	p.told = true
	p.end()
	fmt.Fprintf(p.out, "TRIP %s: %s, limit %s. Next: %s.\n", t.Name, t.Reading, t.Limit, t.Next)
}

// lastWord says how the bench was left: the one line that must be true on every way out.
func (p *progress) lastWord(o engine.Outcome) {
	p.trip(o.Trip)
	switch {
	case o.SafeToOpen():
		fmt.Fprintf(p.out, "Line relieved: %s bar gauge, safe to open.\n", unit.Decimals(o.Pressure, 2))
	case o.Fresh:
		fmt.Fprintf(p.out, "NOT SAFE TO OPEN: %.2f bar gauge in the line.\n", o.Pressure)
	default:
		sayIn(p.out, p.width, "", fmt.Sprintf("NOT KNOWN TO BE SAFE TO OPEN: %s. Read the gauge on the line.", o.Unknown()))
	}
}

func (p *progress) line(g engine.Progress) string {
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

// sayIn writes a remark after a prefix, wrapped to the width of the terminal; what follows the first line is set
// in as far.
func sayIn(out io.Writer, width int, prefix, text string) {
	for _, line := range report.Wrap(text, width-len(prefix)) {
		fmt.Fprintf(out, "%s%s\n", prefix, line)
		prefix = strings.Repeat(" ", len(prefix))
	}
}

// lasting writes a time for people, to the hundredth of a second: "7 min 36 s", "750 ms".
func lasting(d time.Duration) string {
	switch {
	case d < time.Second:
		return unit.Number(float64(d.Microseconds())/1000) + " ms"
	case d < time.Minute:
		return unit.Number(d.Seconds()) + " s"
	}
	d = d.Round(time.Second)
	text := fmt.Sprintf("%d min", d/time.Minute)
	if rest := d % time.Minute; rest > 0 {
		text += fmt.Sprintf(" %d s", rest/time.Second)
	}
	return text
}

// warn says beforehand what will make a pass impossible or worth less.
func warn(out io.Writer, p *scenario.Plan, r *rig.Rig) {
	for _, i := range r.Overdue(clock.Real().Time()) {
		fmt.Fprintf(out, "warning: calibration of %s was due on %s: no pass is possible\n",
			i.Channel, i.Due.Format(time.DateOnly))
	}
	for _, text := range beyondSpan(p, r) {
		sayIn(out, terminalWidth(out), "warning: ", text)
	}
	if p.LimitsFrom == "shipped examples" {
		sayIn(out, terminalWidth(out), "warning: ", "the limits are shipped examples: replace them with the data of the maker of "+
			"this unit")
	}
}
