package data

import (
	"time"

	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/j1939/clock"
)

// Sample is one valid reading of a channel, or one change of a command.
type Sample struct {
	Run     string  `parquet:"run,dict"`
	Serial  string  `parquet:"serial,dict"`
	Kind    string  `parquet:"kind,dict"` // reading or command
	Channel string  `parquet:"channel,dict"`
	Time    int64   `parquet:"time,timestamp(microsecond),delta"`
	Value   float64 `parquet:"value"`
	Unit    string  `parquet:"unit,dict"` // "" for states
}

// Result is one characteristic of one run with its limit and verdict.
type Result struct {
	Run            string   `parquet:"run,dict"`
	Serial         string   `parquet:"serial,dict"`
	Started        int64    `parquet:"started,timestamp(microsecond)"`
	Scenario       string   `parquet:"scenario,dict"`
	Rig            string   `parquet:"rig,dict"`
	Simulated      bool     `parquet:"simulated"`
	UnitHours      *float64 `parquet:"unit_hours,optional"`
	RunVerdict     string   `parquet:"run_verdict,dict"`
	Cause          string   `parquet:"cause,dict"` // the most likely one
	Characteristic string   `parquet:"characteristic,dict"`
	At             string   `parquet:"at,dict"`
	Value          *float64 `parquet:"value,optional"`
	U              *float64 `parquet:"expanded_uncertainty,optional"` // k = 2
	Unit           string   `parquet:"unit,dict"`
	Lower          *float64 `parquet:"lower_limit,optional"`
	Upper          *float64 `parquet:"upper_limit,optional"`
	State          string   `parquet:"state,dict"` // not measured, measured, at least
	Verdict        string   `parquet:"verdict,dict"`
}

// Signal is one parameter of one J1939 message.
type Signal struct {
	Time        int64    `parquet:"time,timestamp(microsecond),delta"`
	Bus         int32    `parquet:"bus"` // interface number in a capture of several
	PGN         int32    `parquet:"pgn"`
	Source      int32    `parquet:"source"`
	Destination int32    `parquet:"destination"` // 255: all
	SPN         int32    `parquet:"spn"`
	Name        string   `parquet:"name,dict"`
	Value       *float64 `parquet:"value,optional"` // NULL unless valid, and of opaque fields
	Unit        string   `parquet:"unit,dict"`
	Status      string   `parquet:"status,dict"` // valid, error indicator, not available, reserved ...
	Raw         int64    `parquet:"raw"`
}

func micro(t clock.Instant) int64 { return int64(t) / int64(time.Microsecond) }

// Samples gives every reading and every command of a run to write, in pieces.
func Samples(id samples.Identity, rec *samples.Recording, write func([]Sample) error) error {
	for c := range rig.NumChannels {
		ch := rig.Channel(c)
		if err := series(rec.Channels[c], Sample{Run: id.Run, Serial: id.Serial, Kind: "reading",
			Channel: ch.String(),
			Unit:    ch.Unit()}, write); err != nil {
			return err
		}
	}
	for c := range rig.NumCommands {
		cmd := rig.Command(c)
		if err := series(rec.Commands[c], Sample{Run: id.Run, Serial: id.Serial, Kind: "command",
			Channel: cmd.String(),
			Unit:    cmd.Unit()}, write); err != nil {
			return err
		}
	}
	return nil
}

// atOnce is how many rows go to a writer at once.
const atOnce = 4096

func series(s samples.Series, like Sample, write func([]Sample) error) error {
	rows := make([]Sample, 0, min(len(s.T), atOnce))
	for i, t := range s.T {
		row := like
		row.Time, row.Value = micro(t), s.V[i]
		rows = append(rows, row)
		if len(rows) == atOnce || i == len(s.T)-1 {
			if err := write(rows); err != nil {
				return err
			}
			rows = rows[:0]
		}
	}
	return nil
}

// Results returns one row for each characteristic of a run.
func Results(res *judge.Result) []Result {
	like := Result{Run: res.Run, Serial: res.Serial, Started: res.Started.UnixMicro(),
		Scenario: res.Identity.Scenario,
		Rig:      res.Identity.Rig, Simulated: res.Simulated, RunVerdict: res.Verdict.String()}
	if res.UnitHours > 0 {
		like.UnitHours = &res.UnitHours
	}
	if len(res.Causes) > 0 {
		like.Cause = res.Causes[0].Name
	}
	rows := make([]Result, 0, len(res.Lines))
	for i := range res.Lines {
		l := &res.Lines[i]
		row := like
		row.Characteristic, row.At, row.Unit, row.Verdict = l.Name, l.At, l.Unit, l.Verdict.String()
		row.State = stateNames[min(int(l.State), len(stateNames)-1)]
		if l.State != measure.NotMeasured {
			row.Value = finite(l.Value)
		}
		if l.State == measure.Measured {
			row.U = finite(l.U)
		}
		if l.Limit != nil {
			row.Lower, row.Upper = l.Limit.Lower, l.Limit.Upper
		}
		rows = append(rows, row)
	}
	return rows
}

var stateNames = [...]string{measure.NotMeasured: "not measured", measure.Measured: "measured",
	measure.AtLeast: "at least"}
