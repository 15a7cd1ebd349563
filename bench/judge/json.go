package judge

import (
	"bytes"
	"encoding/json"
	"math"
	"strconv"
	"time"

	"holdfast/bench/grade"
	"holdfast/bench/measure"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// Schema names the form of result.json. It changes when a field changes its meaning or goes;
// new fields do not change it.
const Schema = "holdfast-result-1"

// number is a JSON number that was rounded already, or null.
type number = json.RawMessage

type document struct {
	Schema          string               `json:"schema"`
	Run             string               `json:"run"`
	Serial          string               `json:"serial"`
	UnitHours       float64              `json:"unit_hours"`
	Started         time.Time            `json:"started"`
	Scenario        string               `json:"scenario"`
	Rig             string               `json:"rig"`
	Bus             string               `json:"bus"`
	Verdict         string               `json:"verdict"`
	Rule            string               `json:"rule"`
	LimitsFrom      string               `json:"limits_from"`
	Warnings        []string             `json:"warnings"`
	Characteristics []characteristicJSON `json:"characteristics"`
	Causes          []causeJSON          `json:"causes"`
	Circuit         *circuitJSON         `json:"circuit,omitempty"`
	Faults          []faultJSON          `json:"faults"`
	FramesLost      uint64               `json:"frames_lost"`
	Timing          *timingJSON          `json:"timing,omitempty"`
	Trip            *tripJSON            `json:"trip,omitempty"`
	Steps           []stepJSON           `json:"steps"`
	Instruments     []instrumentJSON     `json:"instruments"`
	Checks          []checkJSON          `json:"instrument_checks"`
	Unseen          []unseenJSON         `json:"not_seen"`
	Simulated       *simulatedJSON       `json:"simulated,omitempty"`
	Tester          string               `json:"tester,omitempty"`
	BenchCheck      *benchCheckJSON      `json:"bench_check,omitempty"`
	Version         string               `json:"version"`
}

type characteristicJSON struct {
	Name    string   `json:"name"`
	At      string   `json:"at,omitempty"`
	Value   number   `json:"value"`
	Unit    string   `json:"unit"`
	U       number   `json:"expanded_uncertainty"`
	Lower   number   `json:"lower_limit"`
	Upper   number   `json:"upper_limit"`
	Verdict string   `json:"verdict"`
	State   string   `json:"state"`
	Conform number   `json:"probability_of_conformity,omitempty"`
	Why     string   `json:"why,omitempty"`
	Note    string   `json:"note,omitempty"`
	Said    string   `json:"answer,omitempty"`           // what a person answered or typed
	Accept  []string `json:"accepted_answers,omitempty"` // of a question
}

type causeJSON struct {
	Name        string `json:"name"`
	Title       string `json:"title"`
	Probability number `json:"probability"`
	Evidence    string `json:"evidence"`
	OpenFirst   string `json:"open_first"`
}

type faultJSON struct {
	Source uint8  `json:"source"`
	SPN    uint32 `json:"spn"`
	FMI    uint8  `json:"fmi"`
	Count  *uint8 `json:"count"` // null: not available
	Active bool   `json:"active"`
	First  number `json:"first"` // s after the start
	Last   number `json:"last"`
}

type tripJSON struct {
	Time    number `json:"time"` // s after the start
	Name    string `json:"name"`
	Reading string `json:"reading"`
	Limit   string `json:"limit"`
	Next    string `json:"next"`
}

type stepJSON struct {
	Name    string `json:"name"`
	Kind    string `json:"kind"`
	Start   number `json:"start"` // s after the start
	End     number `json:"end"`
	Outcome string `json:"outcome"`
	Note    string `json:"note,omitempty"`
}

// benchCheckJSON is the last check of the bench with a golden unit before the run.
type benchCheckJSON struct {
	Run       string    `json:"run"`
	Time      time.Time `json:"time"`
	Reference string    `json:"reference"`
	Good      bool      `json:"good"`
	Worst     string    `json:"worst"`
}

type simulatedJSON struct {
	Seed   uint64             `json:"seed"`
	Faults map[string]float64 `json:"faults"`
	Lies   []string           `json:"lies,omitempty"`
}

// MarshalJSON gives the form of result.json: the fields named in Schema's version, numbers
// rounded to a step finer than a hundredth of their uncertainty, the same bytes for the same Result.
func (res *Result) MarshalJSON() ([]byte, error) {
	d := document{
		Schema: Schema, Run: res.Run, Serial: res.Serial, UnitHours: res.UnitHours,
		Started: res.Started.UTC(), Scenario: res.Identity.Scenario, Rig: res.Identity.Rig, Bus: res.Bus,
		Verdict: res.Verdict.String(), Rule: ruleNames[min(int(res.Rule), len(ruleNames)-1)],
		LimitsFrom: res.LimitsFrom, Warnings: append([]string{}, res.Warnings...),
		Characteristics: []characteristicJSON{}, Causes: []causeJSON{}, Faults: []faultJSON{},
		Steps: []stepJSON{}, Instruments: instruments(res.Bench), Version: res.Version, Tester: res.By,
		Checks: checksJSON(res.Checks), Unseen: []unseenJSON{},
	}
	for _, l := range res.Lines {
		d.Characteristics = append(d.Characteristics, l.json())
	}
	for _, c := range res.Causes {
		d.Causes = append(d.Causes, causeJSON{c.Name, c.Title, fixed(c.Probability, 4), c.Evidence, c.OpenFirst})
	}
	if res.Simulated {
		d.Simulated = &simulatedJSON{Seed: res.Seed, Faults: res.Identity.Faults, Lies: res.Lies}
	}
	d.Circuit = circuitOf(res.Circuit)
	if res.Bench != nil {
		d.Unseen = unseenOf(UnseenBy(res.Bench))
	}
	if c := res.BenchCheck; c != nil {
		d.BenchCheck = &benchCheckJSON{c.Run, c.Time.UTC(), c.Reference, c.Good, c.Worst}
	}
	if res.Recording != nil {
		d.recording(res.Recording)
	}
	var buf bytes.Buffer
	enc := json.NewEncoder(&buf)
	enc.SetEscapeHTML(false) // "<=" stays readable
	if err := enc.Encode(d); err != nil {
		return nil, err
	}
	return bytes.TrimRight(buf.Bytes(), "\n"), nil
}

var ruleNames = [...]string{scenario.NoRule: "none", scenario.Simple: "simple",
	scenario.Guarded: "guarded", scenario.SharedRisk: "shared_risk"}

var stateNames = [...]string{measure.NotMeasured: "not measured", measure.Measured: "measured",
	measure.AtLeast: "at least"}

var outcomeNames = [...]string{samples.NotRun: "not run", samples.Done: "done",
	samples.TimedOut: "timed out", samples.CutShort: "cut short"}

// recording adds what comes straight from the run.
func (d *document) recording(rec *samples.Recording) {
	at := func(t clock.Instant) number { return fixed(t.Seconds(rec.Start), 3) }
	d.FramesLost = rec.FramesLost
	for _, f := range rec.Faults {
		j := faultJSON{Source: f.Source, SPN: f.SPN, FMI: f.FMI, Active: f.Active,
			First: at(f.First), Last: at(f.Last)}
		if f.Count < 127 {
			j.Count = &f.Count
		}
		d.Faults = append(d.Faults, j)
	}
	for _, s := range rec.Steps {
		d.Steps = append(d.Steps, stepJSON{s.Name, s.Kind.String(), at(s.Start), at(s.End),
			outcomeNames[min(int(s.Outcome), len(outcomeNames)-1)], s.Note})
	}
	d.Timing = timingOf(rec.Timing)
	if t := rec.Trip; t != nil {
		d.Trip = &tripJSON{at(t.Time), t.Name, t.Reading, t.Limit, t.Next}
	}
}

func (l Line) json() characteristicJSON {
	j := characteristicJSON{Name: l.Name, At: l.At, Unit: l.Unit, Value: null, U: null, Lower: null, Upper: null,
		Verdict: l.Verdict.String(), State: stateNames[min(int(l.State), len(stateNames)-1)],
		Why: l.Why, Note: l.Note, Said: l.Said}
	switch {
	case l.Open: // no number: it would only say how little current the meter can see
		j.State = "open circuit"
	case l.State != measure.NotMeasured:
		j.Value, j.U = rounded(l.Value, l.U), significant(l.U, 3)
	}
	if l.Limit != nil {
		j.Lower, j.Upper = limitNumber(l.Limit.Lower), limitNumber(l.Limit.Upper)
		j.Accept = l.Limit.Words
		if l.State == measure.Measured && l.Verdict != grade.NoLimit {
			j.Conform = fixed(l.Conformity, 4)
		}
	}
	return j
}

var null = number("null")

func limitNumber(x *float64) number {
	if x == nil {
		return null
	}
	return fixed(*x, -1)
}

// rounded writes a value to a decimal step of at most a hundredth of its uncertainty; to six
// significant digits when it has none.
func rounded(v, u float64) number {
	if !(u > 0) || math.IsInf(u, 0) {
		return significant(v, 6)
	}
	return fixed(v, max(0, int(math.Ceil(-math.Log10(u/100)))))
}

// significant writes a number to n significant digits.
func significant(v float64, n int) number {
	if v == 0 {
		return number("0")
	}
	return fixed(v, max(0, n-1-int(math.Floor(math.Log10(math.Abs(v))))))
}

// fixed writes a number with at most so many decimals and no trailing zeros; -1: as many as it
// needs. What is not a finite number is null.
func fixed(v float64, decimals int) number {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return null
	}
	if decimals >= 0 {
		if r, err := strconv.ParseFloat(strconv.FormatFloat(v, 'f', min(decimals, 15), 64), 64); err == nil {
			v = r
		}
	}
	if v == 0 {
		v = 0 // no "-0"
	}
	return number(strconv.FormatFloat(v, 'f', -1, 64))
}
