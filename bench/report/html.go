package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"

	"holdfast/bench/cause"
	"holdfast/bench/judge"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/j1939/unit"
)

//go:embed page.html.tmpl
var pageText string

//go:embed page.css
var pageStyle string

var page = template.Must(template.New("page").Parse(pageText))

// HTML writes the result as one page that needs no other file: it prints on A4 and Letter and can be read
// in black and white.
func HTML(w io.Writer, res *judge.Result) error {
	if err := page.Execute(w, sheetOf(res, nil, "")); err != nil {
		return fmt.Errorf("write report: %w", err)
	}
	return nil
}

// sheet is everything the page shows, in words.
type sheet struct {
	*judge.Result
	Cert       *certified // nil: a report of a run, not a certificate
	PageStyle  template.CSS
	Style      template.CSS
	Hours      string
	StartedAt  string
	Word       string   // the verdict
	Class      string   // the verdict as a CSS class
	Next       string   // what to do after the interlock ended the run; "": nothing
	HowMuch    []string // the limits that were not kept, with their numbers
	Headline   string
	Simulation string
	Likely     *causeWords
	Others     []causeWords
	NoCause    string // why no cause is named
	Ending     string
	Safe       bool
	Rows       []htmlRow
	Unmeasured []pair // what has neither a value nor a limit, by its reason
	Legend     legend
	Circuit    *circuitWords // as identified from the whole run
	Timeline   *figure
	Plots      []plotWords // beside the timeline
	Steps      []stepWords
	Faults     []faultWords
	Events     []eventWords
	RuleWords  string
	Tools      []toolWords
	Budgets    []budget
	Cautions   []pair
	Deferral   string
	BenchCheck string       // the last check with a golden unit, in words
	Checks     *checksWords // of the bench's instruments; nil: none were made
}

type htmlRow struct {
	row
	Key   string // the name in the scenario language
	line  judge.Line
	Class string
	Rule  template.HTML
}

type causeWords struct{ Title, Probability, Evidence, OpenFirst string }

type stepWords struct{ Name, Kind, Start, Length, Outcome, Note string }

type faultWords struct{ Source, SPN, FMI, Count, Kind, Seen string }

type eventWords struct{ Time, Text string }

type toolWords struct {
	Name, Accuracy, Resolution, Calibrated, Due string
	Late                                        bool
}

func sheetOf(res *judge.Result, c *Certificate, p Paper) sheet {
	s := sheet{Result: res, Cert: certifiedOf(res, c), PageStyle: pageMargins(res, c, p),
		Style: template.CSS(pageStyle), Hours: hours(res.UnitHours),
		StartedAt: res.Started.UTC().Format("2 January 2006, 15:04:05 UTC") + by(res.By), Word: res.Verdict.String(),
		Class: cssClass(res.Verdict.String()), Headline: capitalised(spoken(headline(res))),
		HowMuch:   byHowMuch(spokenNames(res)),
		RuleWords: ruleWords(res.Rule, res.Plan),
		Timeline:  timeline(res), Plots: plotsOf(res), Budgets: budgetsOf(res),
		Cautions: cautions, Deferral: deferral, BenchCheck: benchCheckWords(res), Checks: checksOf(res)}
	if res.Simulated {
		s.Simulation = simulationText(res)
	}
	s.Ending, s.Safe = ending(res)
	s.Next = nextStep(res)
	rows, unmeasured := shownRows(res.Lines)
	s.Unmeasured, s.Legend, s.Circuit = unmeasured, legendOf(res), circuitOf(res.Circuit)
	for _, l := range rows {
		r := htmlRow{row: rowOf(l), line: l, Key: l.Name, Class: cssClass(l.Verdict.String()), Rule: limitRule(l)}
		r.Name, r.Note, r.Unit = spoken(r.Name), joined(r.Why, r.Note), printed(r.Unit)
		s.Rows = append(s.Rows, r)
	}
	if c != nil && res.UnitHours <= 0 {
		s.Hours = hours(c.UnitHours)
	}
	s.causes(res)
	s.run(res.Recording)
	s.tools(res)
	return s
}

// pageMargins puts the number of the certificate, or of the run, and the page's own number on every printed
// page.
func pageMargins(res *judge.Result, c *Certificate, p Paper) template.CSS {
	number := res.Run
	if c != nil {
		number = c.Number
	}
	size := ""
	if p == A4 || p == Letter {
		size = "size: " + strings.ToLower(string(p)) + "; "
	}
	return template.CSS(fmt.Sprintf(`@page { %s@bottom-left { content: "%s"; font: 8pt Arial, sans-serif; } `+
		`@bottom-right { content: "%s/" counter(page) "   page " counter(page) " of " counter(pages); `+
		`font: 8pt Arial, sans-serif; } }`, size, cssWord(number), cssWord(number)))
}

// cssWord keeps what is safe between quotes in a style sheet.
func cssWord(s string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' || r == '.' {
			return r
		}
		return '_'
	}, s)
}

// plotsOf are the plots beside the timeline, as far as there is something to draw.
func plotsOf(res *judge.Result) []plotWords {
	plots := leakPlots(res)
	for _, p := range []plotWords{spectrum(res), driveAgainstPressure(res)} {
		if p.Figure != nil {
			plots = append(plots, p)
		}
	}
	return plots
}

func hours(h float64) string {
	if h <= 0 {
		return "hours not stated"
	}
	return unit.Number(h) + " h"
}

// cssClass turns a verdict's words into a class name.
func cssClass(words string) string { return strings.ReplaceAll(words, " ", "-") }

// spoken is a characteristic's name as people say it.
func spoken(name string) string { return strings.ReplaceAll(name, "_", " ") }

// spokenNames is the result with the characteristics named as people say them.
func spokenNames(res *judge.Result) *judge.Result {
	said := *res
	said.Lines = append([]judge.Line(nil), res.Lines...)
	for i := range said.Lines {
		said.Lines[i].Name = spoken(said.Lines[i].Name)
	}
	return &said
}

// causes fills in what is likely wrong; a unit that passed has nothing to open.
func (s *sheet) causes(res *judge.Result) {
	if res.Verdict == judge.Pass {
		return
	}
	if why := tooLittle(res); why != "" {
		s.NoCause = capitalised(why) + "."
		return
	}
	const shown = 4
	for i, c := range res.Causes[:min(len(res.Causes), shown)] {
		words := causeOf(c)
		if i == 0 {
			words.OpenFirst = whatToDo(res)
			s.Likely = &words
			continue
		}
		s.Others = append(s.Others, words)
	}
}

func causeOf(c cause.Cause) causeWords {
	return causeWords{capitalised(c.Title), percent(c.Probability), capitalised(c.Evidence), c.OpenFirst}
}

// run fills in what happened.
func (s *sheet) run(rec *samples.Recording) {
	if rec == nil {
		return
	}
	for _, r := range rec.Steps {
		s.Steps = append(s.Steps, stepWords{r.Name, kindWord(r), fmt.Sprintf("%.1f",
			r.Start.Seconds(rec.Start)),
			fmt.Sprintf("%.1f", r.End.Seconds(r.Start)), outcomeWords[r.Outcome], r.Note})
	}
	for _, f := range rec.Faults {
		s.Faults = append(s.Faults, faultOf(f, rec))
	}
	const shown = 60 // events; the journal has them all
	for i, e := range rec.Events {
		if i == shown {
			more := fmt.Sprintf("and %d more in the journal", len(rec.Events)-shown)
			s.Events = append(s.Events, eventWords{"", more})
			break
		}
		s.Events = append(s.Events, eventWords{fmt.Sprintf("%.2f", e.Time.Seconds(rec.Start)), e.Text})
	}
}

// kindWord is a step's kind where its name does not say it already.
func kindWord(r samples.StepRun) string {
	if k := r.Kind.String(); k != r.Name {
		return k
	}
	return ""
}

var outcomeWords = map[samples.Outcome]string{samples.NotRun: "not run", samples.Done: "done",
	samples.TimedOut: "timed out", samples.CutShort: "cut short"}

func faultOf(f samples.Fault, rec *samples.Recording) faultWords {
	const notAvailable = 127 // occurrence count, SAE J1939-73
	w := faultWords{Source: fmt.Sprint(f.Source), SPN: fmt.Sprint(f.SPN), FMI: fmt.Sprint(f.FMI),
		Count: fmt.Sprint(f.Count), Kind: "previously active",
		Seen: fmt.Sprintf("%.1f to %.1f s", f.First.Seconds(rec.Start), f.Last.Seconds(rec.Start))}
	if f.Count >= notAvailable {
		w.Count = "not available"
	}
	if f.Active {
		w.Kind = "active"
	}
	return w
}

// tools fills in the instruments; states (a switch, a contact) are none.
func (s *sheet) tools(res *judge.Result) {
	if res.Bench == nil {
		return
	}
	for _, in := range res.Bench.Channels {
		if in == nil || in.Channel.Unit() == "" {
			continue
		}
		s.Tools = append(s.Tools, toolOf(in, res.Started))
	}
}

func toolOf(in *rig.Instrument, on time.Time) toolWords {
	u := in.Channel.Unit()
	t := toolWords{Name: spoken(in.Channel.String()), Accuracy: accuracyWords(in.Accuracy, u),
		Resolution: unit.Number(in.Resolution) + " " + u, Calibrated: date(in.Calibrated), Due: date(in.Due)}
	if in.PartOfUnit {
		t.Name += " (part of the unit: under test, not an instrument)"
	}
	// The due date is the last day on which the calibration holds.
	t.Late = !in.Due.IsZero() && !on.Before(in.Due.AddDate(0, 0, 1))
	return t
}

func accuracyWords(a rig.Accuracy, u string) string {
	var parts []string
	if a.OfReading != 0 {
		parts = append(parts, unit.Number(a.OfReading)+" % of reading")
	}
	if a.OfSpan != 0 {
		parts = append(parts, fmt.Sprintf("%s %% of %s %s", unit.Number(a.OfSpan), unit.Number(a.Span), u))
	}
	if a.Absolute != 0 {
		parts = append(parts, unit.Number(a.Absolute)+" "+u)
	}
	if len(parts) == 0 {
		return "not stated"
	}
	return "± (" + strings.Join(parts, " + ") + ")"
}

func date(t time.Time) string {
	if t.IsZero() {
		return "-"
	}
	return t.Format("2006-01-02")
}
