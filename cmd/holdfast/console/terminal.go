package console

import (
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"golang.org/x/term"

	"holdfast/bench/report"
	"holdfast/j1939/unit"
)

// IsTerminal reports whether a person reads what is written to out.
func IsTerminal(out io.Writer) bool {
	f, ok := out.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// Width returns the width of a terminal in columns, 100 for anything else.
func Width(out io.Writer) int {
	if f, ok := out.(*os.File); ok {
		if width, _, err := term.GetSize(int(f.Fd())); err == nil {
			return width
		}
	}
	return 100
}

// Say writes a remark after a prefix, wrapped to the width of the terminal; what follows the first line is set
// in as far.
func Say(out io.Writer, width int, prefix, text string) {
	for _, line := range report.Wrap(text, width-len(prefix)) {
		fmt.Fprintf(out, "%s%s\n", prefix, line)
		prefix = strings.Repeat(" ", len(prefix))
	}
}

// Duration writes a time for people, to the hundredth of a second: "7 min 36 s", "750 ms".
func Duration(d time.Duration) string {
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

// PlainLines makes a message safe for a terminal: what a person typed or a file held stands in many errors.
// Its lines stay.
func PlainLines(message string) string {
	lines := strings.Split(message, "\n")
	for i, line := range lines {
		lines[i] = report.Plain(line)
	}
	return strings.Join(lines, "\n")
}
