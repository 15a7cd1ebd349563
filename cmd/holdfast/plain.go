package main

import (
	"strings"

	"holdfast/bench/report"
)

// plainLines makes a message safe for a terminal: what a person typed or a file held stands in many errors.
// Its lines stay.
func plainLines(message string) string {
	lines := strings.Split(message, "\n")
	for i, line := range lines {
		lines[i] = report.Plain(line)
	}
	return strings.Join(lines, "\n")
}
