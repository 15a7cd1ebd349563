package campaign

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"

	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
)

// truthSchema is the form of what a world tells.
const truthSchema = "holdfast-truth/1"

// truthTold is what a world says was really there in a run: from its plant's own state, never from readings.
type truthTold struct {
	Schema   string             `json:"schema"`
	Peer     string             `json:"peer"`
	Type     string             `json:"unit_type"`
	Values   []trueValue        `json:"values"`
	NotMet   []string           `json:"not_met"` // steps that the true state did not complete
	Extremes map[string]float64 `json:"extremes"`
}

type trueValue struct {
	Name  string  `json:"name"`
	At    string  `json:"at"`
	Unit  string  `json:"unit"`
	Value float64 `json:"value"`
}

// parseTruth reads it.
func parseTruth(text []byte) (*truthTold, error) {
	if len(text) == 0 {
		return nil, errors.New("this simulation keeps none")
	}
	var t truthTold
	if err := json.Unmarshal(text, &t); err != nil {
		return nil, err
	}
	if t.Schema != truthSchema {
		return nil, fmt.Errorf("it is %q; %q is understood", t.Schema, truthSchema)
	}
	return &t, nil
}

// highestPressure names the extreme that a lying gauge drives up.
const highestPressure = "highest_pressure_bar"

// compare puts what was measured and said beside what was there.
func (t *truthTold) compare(d Draw, rec *samples.Recording, res *judge.Result) Unit {
	u := Unit{Draw: d, Verdict: res.Verdict, Causes: res.Causes, Good: true, Highest: t.Extremes[highestPressure]}
	u.hear(rec, res)
	for i := range res.Lines {
		l := &res.Lines[i]
		v := valueOf(l)
		if truth, known := t.find(l.Name, l.At); known && truth.Unit == l.Unit {
			v.Truth, v.Known = truth.Value, !math.IsNaN(truth.Value)
		}
		if l.Limit != nil && v.Known {
			v.Past = past(v.Truth, l.Limit)
			v.Kept = v.Past <= 0
		}
		if !v.Kept && u.Good {
			u.Good, u.Broken = false, v.label()
		}
		u.Values = append(u.Values, v)
	}
	if len(t.NotMet) > 0 && u.Good {
		u.Good, u.Broken = false, t.NotMet[0]+" in vain"
	}
	return u
}

func (t *truthTold) find(name, at string) (trueValue, bool) {
	for _, v := range t.Values {
		if v.Name == name && v.At == at {
			return v, true
		}
	}
	return trueValue{}, false
}

// valueOf is a line of a result before its truth is known.
func valueOf(l *judge.Line) Value {
	return Value{Name: l.Name, At: l.At, Measured: l.State == measure.Measured, Value: l.Value, U: l.U,
		Verdict: l.Verdict, Kept: true, limit: l.Limit}
}

// nominalDose is FullFlow sqrt(p/AtPressure) (duty - Lost Frequency), g/min, as a rig states its dosing valve.
func nominalDose(v rig.DosingValve, p, duty float64) float64 {
	if p <= 0 || v.AtPressure <= 0 {
		return 0
	}
	open := min(max(duty/100-v.Lost.Seconds()*v.Frequency, 0), 1)
	return v.FullFlow * math.Sqrt(p/v.AtPressure) * open
}
