package live

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"holdfast/bench/watch"
	"holdfast/j1939/clock"
	"holdfast/j1939/unit"
)

// Screen shows a live watch on a terminal: pressure and state in letters that are read from a metre
// away, one bar of colour for how it stands, then the figures, then what happened last.
type Screen struct {
	out    io.Writer
	head   string // interface and how quietly it listens
	began  clock.Instant
	size   func() (width, height int)
	drawn  clock.Instant
	recent []watch.Event
}

const (
	drawEvery   = 250 * time.Millisecond
	eventsShown = 20

	enterScreen = "\x1b[?1049h\x1b[?25l\x1b[2J"
	leaveScreen = "\x1b[?25h\x1b[?1049l"
)

// NewScreen begins a screen on a terminal of a size that may change.
func NewScreen(out io.Writer, head string, size func() (int, int)) *Screen {
	fmt.Fprint(out, enterScreen)
	return &Screen{out: out, head: head, size: size}
}

// Event shows an event among the last ones.
func (s *Screen) Event(e watch.Event) {
	if len(s.recent) == eventsShown {
		s.recent = append(s.recent[:0], s.recent[1:]...)
	}
	s.recent = append(s.recent, e)
	s.drawn = 0
}

// View draws the screen anew, where that is due.
func (s *Screen) View(v watch.View, w *watch.Watcher, alarms []string) {
	if s.began == 0 {
		s.began = v.At
	}
	if v.At.Sub(s.drawn) < drawEvery {
		return
	}
	s.drawn = v.At
	width, height := s.size()
	var b strings.Builder
	b.WriteString("\x1b[H")
	for i, line := range s.layout(v, w, alarms, width, height) {
		if i > 0 {
			b.WriteString("\r\n")
		}
		b.WriteString(line + "\x1b[0m\x1b[K")
	}
	b.WriteString("\x1b[J")
	fmt.Fprint(s.out, b.String())
}

// End gives the terminal back.
func (s *Screen) End() { fmt.Fprint(s.out, leaveScreen) }

// layout is the whole screen, at most height lines of width columns (colours not counted).
func (s *Screen) layout(v watch.View, w *watch.Watcher, alarms []string, width, height int) []string {
	lines := []string{cutTo(fmt.Sprintf(" %s   heard for %s   trip %d   %d frames", s.head,
		hms(v.At.Sub(s.began)), v.Trip, v.Frames), width), ""}
	wide, high := 2, 1
	if width >= 120 && height >= 30 {
		wide = 3
	}
	if height >= 38 {
		high = 2
	}
	pressure, state := bigWords(v)
	for _, row := range large(pressure, wide, width-2) {
		lines = append(lines, slices.Repeat([]string{" " + row}, high)...)
	}
	lines = append(lines, "")
	for _, row := range large(state, wide, width-2) {
		lines = append(lines, slices.Repeat([]string{" " + row}, high)...)
	}
	lines = append(lines, "", verdictBar(v, alarms, width), "")
	for _, row := range figures(v, w) {
		lines = append(lines, cutTo(" "+row, width))
	}
	lines = append(lines, "")
	for i := len(s.recent) - 1; i >= 0 && len(lines) < height; i-- {
		e := s.recent[i]
		lines = append(lines, cutTo(" "+e.At.Time().Local().Format("15:04:05")+"  "+e.Text, width))
	}
	return lines[:min(len(lines), height)]
}

// bigWords are what is written large: the gauge pressure, and what the unit does.
func bigWords(v watch.View) (pressure, state string) {
	u := v.Unit
	switch {
	case v.Asleep:
		return "-- bar", "asleep"
	case u == nil:
		return "-- bar", "no unit"
	case u.Lost:
		pressure = "lost"
	case !u.GaugeKnown:
		pressure = "-- bar"
	default:
		pressure = unit.Decimals(u.Gauge, 1) + " bar"
	}
	if !u.StateKnown {
		return pressure, "-"
	}
	return pressure, u.State
}

// verdictBar is one line across the screen: green, amber or red, with why.
func verdictBar(v watch.View, alarms []string, width int) string {
	colour, text := "\x1b[30;47m", "NOTHING TO SAY YET"
	switch v.Level {
	case watch.OK:
		colour, text = "\x1b[30;42m", "OK so far"
	case watch.Watch:
		colour, text = "\x1b[30;43m", "WATCH: "+strings.Join(v.Raised, ", ")
	case watch.Act:
		colour, text = "\x1b[97;41m", "ACT: "+strings.Join(v.Raised, ", ")
	}
	if len(alarms) > 0 {
		colour, text = "\x1b[97;41m", "ALARM: "+strings.Join(alarms, ", ")
	}
	text = cutTo("  "+text, width)
	return "\x1b[1m" + colour + text + strings.Repeat(" ", max(0, width-utf8.RuneCountInString(text)))
}

// figures are the numbers beside the large ones. What is no number is a dash, never a 0.
func figures(v watch.View, w *watch.Watcher) []string {
	bank := uint8(1)
	dose := "--"
	if v.Unit != nil {
		bank = v.Unit.Bank
		if v.Unit.DoseKnown && !v.Asleep {
			dose = unit.Decimals(v.Unit.Dose, 0)
		}
	}
	f := func(s watch.Signal, decimals int) string {
		x, ok := w.Value(bank, s, v.At)
		if !ok {
			return "--"
		}
		return unit.Decimals(x, decimals)
	}
	return []string{
		fmt.Sprintf("dosing %6s g/h   wanted %6s g/h   drive %5s %%   valve %4s %%", dose,
			f(watch.DosingRequested, 0), f(watch.PumpDrive, 1), f(watch.Diverter, 0)),
		fmt.Sprintf("tank %5s %%  %4s °C   DEF %5s %%   SCR %5s °C   NOx %5s -> %5s ppm",
			f(watch.TankLevel, 0), f(watch.TankTemperature, 0), f(watch.Concentration, 1),
			f(watch.SCRIntake, 0), f(watch.NOxBefore, 0), f(watch.NOxAfter, 0)),
		fmt.Sprintf("engine %5s rpm   %4s km/h   supply %5s V   outside %5s °C", f(watch.EngineSpeed, 0),
			f(watch.VehicleSpeed, 0), f(watch.Supply, 1), f(watch.Ambient, 0)),
	}
}

// cutTo cuts a line to the width of the screen.
func cutTo(text string, width int) string {
	if utf8.RuneCountInString(text) <= width {
		return text
	}
	return string([]rune(text)[:max(0, width)])
}

// hms writes a time as hours, minutes and seconds.
func hms(d time.Duration) string {
	s := int(d.Seconds())
	return fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
}
