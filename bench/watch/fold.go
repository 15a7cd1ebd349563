package watch

import (
	"regexp"
	"slices"
	"strings"
	"unicode/utf8"
)

// findingIndent is how far the text of a finding stands from the margin, behind its level.
const findingIndent = 12

// foldLine writes a line in rows of at most width columns, broken between words. Continued rows are
// indented, by half the width at most. A single word longer than a row stays whole.
func foldLine(b *strings.Builder, line string, width int) {
	at := len(line) - len(strings.TrimLeft(line, " "))
	in := min(hanging(line, at), max(0, width/2))
	b.WriteString(line[:at])
	used, gap, begun := at, 0, false
	for word := range strings.SplitSeq(withUnits(line[at:]), " ") {
		n, shown := utf8.RuneCountInString(word), strings.ReplaceAll(word, noBreak, " ")
		switch {
		case n == 0: // one more space between two words
		case begun && used+gap+n > width:
			b.WriteString("\n" + strings.Repeat(" ", in) + shown)
			used, gap = in+n, 0
		default:
			b.WriteString(strings.Repeat(" ", gap) + shown)
			used, gap, begun = used+gap+n, 0, true
		}
		gap++
	}
	b.WriteString("\n")
}

// A number and its unit stand in one row.
const noBreak = "\u00a0"

var numberAndUnit = regexp.MustCompile(`(\d) (s|ms|min|h|%|bar|kPa|°C|V|g|g/h|kg/h|km|km/h|ppm|r/min)([,;:)]| |$)`)

func withUnits(text string) string { return numberAndUnit.ReplaceAllString(text, "$1"+noBreak+"$2$3") }

// hanging is how far the rows after the first are set in; at is where the first begins.
func hanging(line string, at int) int {
	if len(line) > findingIndent && at == 2 && line[findingIndent-2:findingIndent] == "  " &&
		slices.Contains(levelNames[:], strings.TrimSpace(line[at:findingIndent])) {
		return findingIndent
	}
	return at + 2
}
