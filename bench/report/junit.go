package report

import (
	"encoding/xml"
	"fmt"
	"io"

	"holdfast/bench/grade"
	"holdfast/bench/judge"
)

// JUnit writes a run as JUnit XML, as build servers read it: one testsuite for the run, one testcase
// for each characteristic. A broken limit is a failure; undecided, not measured and not run are errors
// (the test did not come to an answer); a characteristic without a limit is skipped. A run that did not
// come to a verdict of its limits (tripped, stopped, interrupted, error) has one more testcase "run"
// with that error, so that it never reads as green. Times are the length of the samples (s).
func JUnit(w io.Writer, res *judge.Result) error {
	s := suite{Name: res.Scenario + " " + res.Serial,
		Timestamp: res.Started.UTC().Format("2006-01-02T15:04:05"),
		Hostname:  res.Rig, Properties: properties(res)}
	if rec := res.Recording; rec != nil {
		s.Time = seconds(rec.End.Seconds(rec.Start))
	}
	for _, l := range res.Lines {
		s.add(caseOf(res, l))
	}
	if res.Verdict != judge.Pass && res.Verdict != judge.Fail && res.Verdict != judge.Undecided {
		s.add(testCase{Name: "run", Class: res.Scenario, Error: &outcome{res.Verdict.String(),
			headline(res)}})
	}
	if _, err := io.WriteString(w, xml.Header); err != nil {
		return fmt.Errorf("write JUnit: %w", err)
	}
	e := xml.NewEncoder(w)
	e.Indent("", "  ")
	if err := e.Encode(suites{Suites: []suite{s}}); err != nil {
		return fmt.Errorf("write JUnit: %w", err)
	}
	_, err := io.WriteString(w, "\n")
	return err
}

type suites struct {
	XMLName xml.Name `xml:"testsuites"`
	Suites  []suite  `xml:"testsuite"`
}

type suite struct {
	Name       string     `xml:"name,attr"`
	Tests      int        `xml:"tests,attr"`
	Failures   int        `xml:"failures,attr"`
	Errors     int        `xml:"errors,attr"`
	Skipped    int        `xml:"skipped,attr"`
	Time       seconds    `xml:"time,attr"`
	Timestamp  string     `xml:"timestamp,attr"`
	Hostname   string     `xml:"hostname,attr"` // the rig: the host the test ran on
	Properties []property `xml:"properties>property"`
	Cases      []testCase `xml:"testcase"`
}

// seconds writes a duration without an exponent, which some readers refuse.
type seconds float64

func (s seconds) MarshalText() ([]byte, error) { return fmt.Appendf(nil, "%.3f", float64(s)), nil }

type property struct {
	Name  string `xml:"name,attr"`
	Value string `xml:"value,attr"`
}

type testCase struct {
	Name    string   `xml:"name,attr"`
	Class   string   `xml:"classname,attr"`
	Time    seconds  `xml:"time,attr"`
	Failure *outcome `xml:"failure"`
	Error   *outcome `xml:"error"`
	Skipped *skipped `xml:"skipped"`
	Output  string   `xml:"system-out,omitempty"`
}

type outcome struct {
	Type    string `xml:"type,attr"`
	Message string `xml:"message,attr"`
}

type skipped struct {
	Message string `xml:"message,attr"`
}

func properties(res *judge.Result) []property {
	return []property{{"run", res.Run}, {"serial", res.Serial}, {"rig", res.Rig}, {"bus", res.Bus},
		{"simulated", fmt.Sprint(res.Simulated)}, {"verdict", res.Verdict.String()}, {"version", res.Version}}
}

func caseOf(res *judge.Result, l judge.Line) testCase {
	r := rowOf(l)
	text := sentence(r)
	c := testCase{Name: r.Name, Class: res.Scenario, Output: text,
		Time: seconds(max(0, l.To.Seconds(l.From)))}
	switch l.Verdict {
	case grade.Pass:
	case grade.NoLimit:
		c.Skipped = &skipped{"no limit is set"}
	case grade.Fail:
		c.Failure = &outcome{r.Verdict, text}
	default:
		c.Error = &outcome{r.Verdict, text}
	}
	return c
}

// sentence writes a row on one line: "6.10 ± 0.40 mL/min, limit ≤ 1: fail".
func sentence(r row) string {
	s := r.Value
	if r.U != "" {
		s += " ± " + r.U
	}
	if r.Unit != "" && r.Value != "-" {
		s += " " + r.Unit
	}
	if r.Limit != "" {
		s += ", limit " + r.Limit
	}
	s += ": " + r.Verdict
	if remark := joined(r.Why, r.Note); remark != "" {
		s += " (" + remark + ")"
	}
	return s
}

func (s *suite) add(c testCase) {
	s.Tests++
	switch {
	case c.Failure != nil:
		s.Failures++
	case c.Error != nil:
		s.Errors++
	case c.Skipped != nil:
		s.Skipped++
	}
	s.Cases = append(s.Cases, c)
}
