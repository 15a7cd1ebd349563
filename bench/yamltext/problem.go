// Package yamltext reads the files that people write (rig, scenario) so that everything wrong
// in them is answered at once and at its place: file:line:column, what was found, what would do.
//
// It reads a deliberately small part of YAML 1.2: maps, lists and plain or quoted text.
// Anchors, aliases, tags, merge keys, several documents and complex keys are refused: a test
// sequence must read the same to a person and to the program. It gives no text a meaning by its
// looks (yes, 0x10, 1_000 stay text); the key that asks says what it wants.
package yamltext

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Problem is one thing wrong at one place.
type Problem struct {
	Path         string
	Line, Column int    // from 1; 0: the file as a whole
	Found        string // what was found
	Do           string // what would do; may be empty when Found says it
}

// Error writes the problem as file:line:column: found; do.
func (p Problem) Error() string {
	text := p.Found
	if p.Do != "" {
		text += "; " + p.Do
	}
	if p.Line == 0 {
		return p.Path + ": " + text
	}
	return fmt.Sprintf("%s:%d:%d: %s", p.Path, p.Line, p.Column, text)
}

// Problems is everything wrong in one file, in the order of the text.
type Problems []Problem

// Error writes one problem a line.
func (p Problems) Error() string {
	lines := make([]string, len(p))
	for i := range p {
		lines[i] = p[i].Error()
	}
	return strings.Join(lines, "\n")
}

// Err returns nil when nothing is wrong, so that an empty list is not a non-nil error.
func (p Problems) Err() error {
	if len(p) == 0 {
		return nil
	}
	return p
}

// MaxProblems is how many problems of one file are told; a file that is wrong in more places
// is some other kind of file.
const MaxProblems = 100

// sorted returns the problems in the order of the text, each once.
func (p Problems) sorted() Problems {
	slices.SortStableFunc(p, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.Path, b.Path), a.Line-b.Line, a.Column-b.Column)
	})
	out := slices.Compact(p)
	if len(out) > MaxProblems {
		more := len(out) - MaxProblems
		out = append(out[:MaxProblems], Problem{Path: out[0].Path,
			Found: fmt.Sprintf("and %d more problems", more)})
	}
	return out
}
