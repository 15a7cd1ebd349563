package console

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"holdfast/bench/report"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// Asker answers the questions of a run: from a file of answers first, then by the person at the terminal. It
// is used from the engine's goroutine and never waits: a goroutine of its own reads what is typed.
type Asker struct {
	file  map[string]string // answers by the name of the characteristic
	in    io.Reader         // nil: nobody is there
	out   io.Writer
	width int         // of the terminal, characters
	lines chan string // what was typed; closed at the end of the input
	now   *scenario.Question
	known string // the file's answer to it
	asked bool   // the person has been asked
}

const (
	fromFile   = "answers file"
	fromPerson = "person"
	longestLn  = 4096 // bytes that are read of one line; more is no answer
)

// NewAsker answers from a file, and asks a person when in is not nil.
func NewAsker(file map[string]string, in io.Reader, out io.Writer, width int) *Asker {
	return &Asker{file: file, in: in, out: out, width: width}
}

// Ask puts a question.
func (a *Asker) Ask(q *scenario.Question) {
	a.now, a.asked = q, false
	a.known = a.file[q.Name]
	if a.known != "" || a.in == nil {
		return
	}
	if a.lines == nil {
		a.lines = make(chan string, 16)
		go readLines(a.in, a.lines)
	}
	a.forget()
	a.asked = true
	fmt.Fprint(a.out, "\r\x1b[K\a\n")
	Say(a.out, a.width, "", report.Plain(q.Text))
	Say(a.out, a.width, "", "Type "+report.Plain(q.Answers())+", then Enter.")
	a.prompt()
}

// forget drops what was typed before the question could be read.
func (a *Asker) forget() {
	for {
		select {
		case _, ok := <-a.lines:
			if !ok {
				return
			}
		default:
			return
		}
	}
}

// prompt leaves a line for the progress above the one that is typed on: see Progress.above.
func (a *Asker) prompt() { fmt.Fprint(a.out, "\n> ") }

// Answer returns the file's answer, nobody's when nobody is there, or what was typed when it is an answer.
func (a *Asker) Answer() (samples.Answer, bool) {
	switch {
	case a.known != "":
		return answerOf(a.known, fromFile), true
	case !a.asked:
		return samples.Answer{}, true
	}
	select {
	case line, ok := <-a.lines:
		if !ok { // the input has ended: nobody can answer any more
			a.asked, a.in = false, nil
			return samples.Answer{}, true
		}
		return a.typed(strings.TrimSpace(line))
	default:
		return samples.Answer{}, false
	}
}

func (a *Asker) typed(line string) (samples.Answer, bool) {
	if line == scenario.CannotTellWord {
		return a.noted(line)
	}
	if _, err := a.now.Value(line); err != nil {
		Say(a.out, a.width, "", report.Plain(err.Error()))
		a.prompt()
		return samples.Answer{}, false
	}
	return a.noted(line)
}

// noted says what was taken for the answer, so that a slip of the finger is seen.
func (a *Asker) noted(line string) (samples.Answer, bool) {
	a.asked = false
	Say(a.out, a.width, "", "Noted: "+a.now.Name+" "+report.Plain(line))
	return answerOf(line, fromPerson), true
}

// Withdraw ends the question, and says so to a person who has not answered it.
func (a *Asker) Withdraw() {
	if a.asked {
		fmt.Fprint(a.out, "\r\x1b[K")
		Say(a.out, a.width, "", "Nobody answered: "+a.now.Name+" stays open.")
	}
	a.asked = false
}

func answerOf(text, from string) samples.Answer {
	if text == scenario.CannotTellWord {
		return samples.Answer{State: scenario.CannotTell, Text: text, From: from}
	}
	return samples.Answer{State: scenario.Given, Text: text, From: from}
}

// readLines hands on what is typed until the input ends. It may outlive the run: a read cannot be taken
// back.
func readLines(in io.Reader, lines chan<- string) {
	defer close(lines)
	r := bufio.NewReaderSize(in, longestLn)
	for {
		line, more, err := r.ReadLine()
		text := string(line)
		for more && err == nil { // the rest of a line that is too long to be an answer
			_, more, err = r.ReadLine()
		}
		if err != nil {
			return
		}
		lines <- text
	}
}
