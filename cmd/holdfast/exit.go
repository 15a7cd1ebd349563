package main

import (
	"errors"
	"fmt"
	"strings"
)

// Exit statuses, the same for every command and stated in every help text.
const (
	exitDone      = 0 // pass or done
	exitFail      = 1
	exitUsage     = 2 // bad input or usage
	exitUndecided = 3
	exitStopped   = 4 // by the person
	exitTrip      = 5 // interlock
	exitBus       = 6 // bus or bench fault
	exitInternal  = 7
)

const exitHelp = `

Exit status: 0 pass or done, 1 fail, 2 bad input or usage, 3 undecided, 4 stopped by
the person, 5 interlock trip, 6 bus or bench fault, 7 internal error.`

// exit carries a status to main. A nil err has said all there is to say already.
type exit struct {
	status int
	err    error
}

func (e *exit) Error() string {
	if e.err == nil {
		return ""
	}
	return e.err.Error()
}

func (e *exit) Unwrap() error { return e.err }

// withStatus gives err an exit status.
func withStatus(status int, err error) error { return &exit{status, err} }

// statusOf is the one place where an error becomes a status. An error that nobody gave a
// status is bad usage: cobra's own errors (unknown flag, missing argument) are of that kind.
func statusOf(err error) int {
	var e *exit
	switch {
	case err == nil:
		return exitDone
	case errors.As(err, &e):
		return e.status
	default:
		return exitUsage
	}
}

// messageOf is the text of an error with lines that a person can still read: a flag may have been
// given a megabyte.
func messageOf(err error) string {
	if err == nil {
		return ""
	}
	lines := strings.Split(err.Error(), "\n")
	for i, line := range lines {
		if len(line) > longestLine {
			start := strings.ToValidUTF8(line[:longestLine], "")
			lines[i] = fmt.Sprintf("%s ... (%d bytes more)", start, len(line)-longestLine)
		}
	}
	return strings.Join(lines, "\n")
}

const longestLine = 1000 // bytes
