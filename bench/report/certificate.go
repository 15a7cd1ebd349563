package report

import (
	"fmt"
	"io"
	"strings"
	"time"

	"holdfast/bench/grade"
	"holdfast/bench/judge"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/j1939/unit"
)

// Certificate is what a certificate says beyond the run: who gives it out, for what unit and visit, and
// the hashes that it stands on. With the page's other sections it holds what ISO/IEC 17025:2017, 7.8.2,
// 7.8.3 and 7.8.6 ask of a report (from memory of the clauses). Times are shown in UTC. What is empty is
// shown as not stated.
type Certificate struct {
	Number      string // unique; stands on every page
	Issued      time.Time
	By          string // who authorises it
	Shop        string
	Address     string
	Visit       string
	Received    time.Time
	UnitKind    string
	UnitHours   float64 // as told at intake; 0: not known
	Owner       string
	Complaint   string
	AsFound     []string // fault codes and what the strip-down showed
	Parts       []string // fitted
	Vehicle     []string // when the vehicle was listened to; no verdict is drawn from it
	FramesHash  string   // SHA-256 in hexadecimal
	JournalHash string
	SealHash    string // of the statement that covers the whole record
	Key         string // fingerprint of the key that sealed it
	Entry       int64  // number and hash of the last entry of the shop's book before the release; 0: not stated
	EntryHash   string
}

// Paper is a size of paper.
type Paper string

const (
	A4     Paper = "A4"
	Letter Paper = "Letter"
)

// HTMLCertificate writes the certificate as a page that needs no other file; HTML without a certificate.
func HTMLCertificate(w io.Writer, res *judge.Result, c *Certificate, p Paper) error {
	if err := page.Execute(w, sheetOf(res, c, p)); err != nil {
		return fmt.Errorf("write certificate: %w", err)
	}
	return nil
}

// pair is a label and what stands beside it.
type pair struct{ Label, Text string }

// certified is a certificate in words.
type certified struct {
	Number, Issued string
	Mark           string // names the run for those who verify the file
	Facts          []pair
	Conditions     []pair
	Deviations     []string
	Hashes         []pair
	Code           *code
	Conformity     string
}

func certifiedOf(res *judge.Result, c *Certificate) *certified {
	if c == nil {
		return nil
	}
	w := &certified{Number: c.Number, Issued: day(c.Issued), Mark: runMark + res.Run,
		Conditions: conditions(res.Recording), Deviations: deviations(res), Conformity: conformity(res)}
	w.Facts = []pair{
		{"Given out by", joinedBy(", ", c.Shop, c.Address)},
		{"Place of the test", c.Address},
		{"Authorised by", c.By},
		{"Date of issue", day(c.Issued)},
		{"Owner", c.Owner},
		{"Item", joinedBy(", ", "DEF supply unit", c.UnitKind, "serial "+res.Serial,
			hoursIfKnown(max(res.UnitHours, c.UnitHours)))},
		{"Received", joinedBy(", ", day(c.Received), visitWords(c.Visit))},
		{"Condition as received", joinedBy("; ", append([]string{c.Complaint}, c.AsFound...)...)},
		{"Parts fitted", strings.Join(c.Parts, ", ")},
		{"Date of the test", day(res.Started)},
		{"Method", methodWords(res)},
	}
	if len(c.Vehicle) > 0 {
		w.Facts = append(w.Facts, pair{"Vehicle", joinedBy("; ", c.Vehicle...) + ". No verdict is drawn from it."})
	}
	for i := range w.Facts {
		if w.Facts[i].Text == "" {
			w.Facts[i].Text = "not stated"
		}
	}
	w.Hashes = []pair{{"Frames", c.FramesHash}, {"Journal", c.JournalHash}, {"Whole record", c.SealHash},
		{"Signing key", c.Key}}
	if c.Entry > 0 {
		w.Hashes = append(w.Hashes, pair{"Shop's book", fmt.Sprintf("entry %d, %s", c.Entry, c.EntryHash)})
	}
	w.Code = codeOf(fmt.Sprintf("HOLDFAST %s RUN %s SHA256 %s KEY %s", c.Number, res.Run, c.SealHash, c.Key))
	return w
}

func visitWords(visit string) string {
	if visit == "" {
		return ""
	}
	return "visit " + visit
}

func hoursIfKnown(h float64) string {
	if h <= 0 {
		return ""
	}
	return unit.Number(h) + " h"
}

// joinedBy puts the parts that say something together.
func joinedBy(sep string, parts ...string) string {
	var said []string
	for _, p := range parts {
		if p != "" {
			said = append(said, p)
		}
	}
	return strings.Join(said, sep)
}

func day(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format("2 January 2006")
}

func methodWords(res *judge.Result) string {
	text := "Scenario " + res.Identity.Scenario
	if res.Plan != nil && res.Plan.Title != "" {
		text += " (" + res.Plan.Title + ")"
	}
	text += " on the bench " + res.Identity.Rig
	if res.Bench != nil && res.Bench.Title != "" {
		text += " (" + res.Bench.Title + ")"
	}
	return text + "; both texts are kept in the record. Characteristics as in the manual of holdfast " +
		res.Version + "."
}

// conformity is the statement of conformity: to what, by which rule.
func conformity(res *judge.Result) string {
	kept, limits := 0, 0
	for _, l := range res.Lines {
		if l.Limit != nil {
			limits++
			if l.Verdict == grade.Pass {
				kept++
			}
		}
	}
	text := fmt.Sprintf("%d of %d limits (%s) are kept by the decision rule stated here.", kept, limits,
		orUnknown(res.LimitsFrom))
	if res.Verdict == judge.Pass {
		return text
	}
	return text + " This is no pass: " + res.Verdict.String() + "."
}

// conditions are the readings that say under what conditions the test was made: from the lowest to
// the highest.
func conditions(rec *samples.Recording) []pair {
	if rec == nil {
		return nil
	}
	var all []pair
	for _, c := range []rig.Channel{rig.AmbientTemperature, rig.AmbientPressure, rig.FluidTemperature,
		rig.SupplyVoltage} {
		v := rec.Channels[c].V
		if len(v) == 0 {
			continue
		}
		low, high := v[0], v[0]
		for _, x := range v {
			low, high = min(low, x), max(high, x)
		}
		all = append(all, pair{capitalised(spoken(c.String())), fmt.Sprintf("%.4g to %.4g %s", low, high,
			c.Unit())})
	}
	return all
}

// deviations are what departed from the method: ISO/IEC 17025:2017, 7.8.2.1 n (from memory).
func deviations(res *judge.Result) []string {
	var all []string
	if res.Simulated {
		all = append(all, "No real unit was tested: the bench was simulated ("+simulationText(res)+").")
	}
	if rec := res.Recording; rec != nil {
		for _, s := range rec.Steps {
			if s.Outcome != samples.Done {
				all = append(all, joinedBy(": ", "Step "+s.Name+" "+outcomeWords[s.Outcome], s.Note)+".")
			}
		}
		if res.Plan != nil && len(rec.Steps) < len(res.Plan.Steps) {
			all = append(all, fmt.Sprintf("%d of %d steps were run.", len(rec.Steps), len(res.Plan.Steps)))
		}
		if rec.FramesLost > 0 {
			all = append(all, fmt.Sprintf("%d frames were lost on the way to the computer.", rec.FramesLost))
		}
	}
	_, groups := split(res.Lines, 1)
	for _, g := range groups {
		if len(g.Limited) > 0 {
			all = append(all, "Not measured: "+spoken(strings.Join(g.Limited, ", "))+" ("+g.Why+").")
		}
	}
	if len(all) == 0 {
		all = append(all, "None.")
	}
	return all
}
