package report_test

import (
	"math"
	"math/rand/v2"
	"time"

	"holdfast/bench/cause"
	"holdfast/bench/grade"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// The unit, bench and numbers of this file are made up: they show a report, they prove nothing about a
// unit.

var begun = time.Date(2026, 3, 4, 12, 0, 0, 0, time.UTC)

func at(s float64) clock.Instant { return clock.At(begun).Add(time.Duration(s * 1e9)) }

func num(v float64) *float64 { return &v }

// madeUp is a run with a split membrane: most limits kept, the leak rate broken.
func madeUp() *judge.Result {
	plan := &scenario.Plan{Name: "release", Title: "Release test after a rebuild", Path: "shipped",
		Rule:       scenario.Guarded,
		LimitsFrom: "shipped examples", Nominal: 9, MaxPressure: 11.5}
	res := &judge.Result{
		Identity: samples.Identity{Run: "20260304T120000Z-DEMO-7", Serial: "DEMO-7", UnitHours: 19_840,
			Started:  begun,
			Scenario: "release", Rig: "bench-node", Bus: "sim", Simulated: true, Seed: 42,
			Faults: map[string]float64{"membrane-split": 0.6}, Version: "0.1.0"},
		Verdict: judge.Fail, Rule: scenario.Guarded, LimitsFrom: "shipped examples", Plan: plan,
		Causes: []cause.Cause{
			{Name: "membrane-split", Title: "pump membrane split", Probability: 0.871,
				OpenFirst: "Open the pump head first.",
				Evidence: "Leak 6.12 ± 0.41 mL/min at 9 bar with the return shut (limit 1.0), nothing on " +
					"the scale, drive 58.3 % (limit 60)."},
			{Name: "outlet-seat", Title: "pump outlet valve seat leaking", Probability: 0.089,
				OpenFirst: "Open the pump head first.",
				Evidence:  "leak with the return shut; ripple as of a healthy unit"},
			{Name: "outside-leak", Title: "outside leak", Probability: 0.03,
				Evidence: "no fluid lost from the reservoir"},
			{Name: "healthy", Title: "nothing wrong found", Probability: 0.004},
		},
		Warnings: []string{"the limits are the shipped examples, not the data of this unit: a pass is not " +
			"a release",
			"2 frames were lost on the bus"},
		Recording: madeUpRecording(), Bench: madeUpBench(),
	}
	res.Lines = madeUpLines()
	for _, s := range res.Recording.Steps {
		plan.Steps = append(plan.Steps, scenario.Step{Name: s.Name, Kind: s.Kind})
	}
	res.Curves = measure.Read(res.Recording, res.Bench, plan).Curves()
	res.Checks = madeUpChecks()
	return res
}

func madeUpLines() []judge.Line {
	line := func(name, set, unit string, v, u float64, lo, hi *float64, verdict grade.Verdict) judge.Line {
		l := judge.Line{Characteristic: measure.Characteristic{Name: name, At: set, Unit: unit, Value: v,
			U:     u,
			State: measure.Measured, From: at(60), To: at(80), N: 2000}, Verdict: verdict}
		l.Budget = []measure.Contribution{{Source: "instrument", U: u * 0.4}, {Source: "resolution",
			U: u * 0.1},
			{Source: "scatter of the samples", U: u * 0.2828}}
		if lo != nil || hi != nil {
			l.Limit = &scenario.Limit{Characteristic: name, At: set, Lower: lo, Upper: hi, Unit: unit}
		}
		return l
	}
	prime := line("purge_time", "", "s", 60, 0.1, nil, num(45), grade.Fail)
	prime.State, prime.Why = measure.AtLeast, "the line was not below 0.2 bar when the step ended"
	none := judge.Line{Characteristic: measure.Characteristic{Name: "purge_residual", Unit: "mL",
		Value: math.NaN(),
		Why:   "the line was not emptied"}, Limit: &scenario.Limit{Characteristic: "purge_residual", Upper: num(6), Unit: "mL"},
		Verdict: grade.NotMeasured}
	return []judge.Line{
		line("sensor_zero", "", "bar", 0.0123, 0.0341, num(-0.15), num(0.15), grade.Pass),
		line("sensor_span_error", "", "%", -0.44, 0.72, num(-2), num(2), grade.Pass),
		line("sensor_supply", "", "V", 5.003, 0.012, num(4.75), num(5.25), grade.Pass),
		line("prime_time", "", "s", 18.42, 0.06, nil, num(30), grade.Pass),
		line("rise_time", "", "s", 1.382, 0.027, nil, num(4), grade.Pass),
		line("regulated_pressure", "", "bar", 8.997, 0.046, num(8.7), num(9.3), grade.Pass),
		line("ripple", "", "bar", 0.21, 0.02, nil, num(0.5), grade.Pass),
		line("hold_drive", "", "%", 58.3, 1.9, num(30), num(60), grade.Undecided),
		line("hold_speed", "", "r/min", 1893, 5, nil, nil, grade.NoLimit),
		line("leak_rate", "", "mL/min", 6.1187, 0.4132, nil, num(1), grade.Fail),
		line("dosing_error", "20 %", "%", -1.2, 0.9, num(-5), num(5), grade.Pass),
		line("dosing_error", "80 %", "%", 0.6, 0.5, num(-5), num(5), grade.Pass),
		prime, none,
		line("fault_codes", "", "", 0, 0, nil, num(0), grade.Pass),
	}
}

func madeUpBench() *rig.Rig {
	r := &rig.Rig{Name: "bench-node", Title: "Bare unit on a bench I/O node",
		Guard: rig.Guard{MaxPressure: 12, StaleAfter: 5}}
	for c, a := range map[rig.Channel]rig.Accuracy{
		rig.LinePressure: {OfSpan: 1, Span: 14}, rig.ReferencePressure: {OfReading: 0.1, OfSpan: 0.05,
			Span: 16},
		rig.ScaleMass: {Absolute: 0.05}, rig.ReturnFlow: {OfReading: 1, Absolute: 0.5}} {
		r.Channels[c] = &rig.Instrument{Channel: c, Every: 10 * time.Millisecond, Resolution: 0.0005,
			Accuracy:   a,
			Calibrated: begun.AddDate(0, -9, 0), Due: begun.AddDate(0, 3, 0)}
	}
	r.Channels[rig.ReturnFlow].Due = begun.AddDate(0, 0, -3)
	return r
}

// madeUpSteps are name, kind, seconds and the pressure (bar gauge) that each tends to with a time
// constant (s).
var madeUpSteps = []struct {
	name          string
	kind          scenario.Kind
	seconds       float64
	to, tau       float64
	drive, speed0 float64
}{
	{"vented", scenario.Vent, 10, 0, 1, 0, 0}, {"electrics", scenario.Electrics, 8, 0, 1, 0, 0},
	{"prime", scenario.Prime, 19, 2.5, 9, 70, 0}, {"pressurise", scenario.Pressurise, 6, 9, 0.7, 62, 0},
	{"hold", scenario.Hold, 40, 9, 1, 58.3, 0}, {"compliance", scenario.Compliance, 8, 8.1, 0.6, 0, 0},
	{"leak-down", scenario.LeakDown, 60, 1.5, 70, 0, 0}, {"dose 20 %", scenario.Dose, 30, 9, 1, 61, 0},
	{"dose 80 %", scenario.Dose, 30, 9, 1, 72, 0}, {"purge", scenario.Purge, 60, 0.4, 6, 50, 0},
	{"relieve", scenario.Relieve, 4, 0, 0.5, 0, 0},
}

func madeUpRecording() *samples.Recording {
	random := rand.New(rand.NewPCG(1, 2))
	rec := &samples.Recording{FramesLost: 2, Ended: samples.Completed}
	var t, p float64
	add := func(c rig.Channel, v float64) {
		s := &rec.Channels[c]
		s.T, s.V = append(s.T, at(t)), append(s.V, v)
	}
	for i, s := range madeUpSteps {
		run := samples.StepRun{Index: i, Name: s.name, Kind: s.kind, Start: at(t), Outcome: samples.Done}
		d := &rec.Commands[rig.SetPumpDrive]
		d.T, d.V = append(d.T, at(t)), append(d.V, s.drive)
		for end := t + s.seconds; t < end; t += 0.01 {
			p += (s.to - p) * 0.01 / s.tau
			ripple := 0.0
			if s.drive > 0 {
				ripple = 0.1 * math.Min(1, p/5) * math.Sin(2*math.Pi*25.3*t)
			}
			add(rig.ReferencePressure, p+ripple+0.002*random.NormFloat64())
			add(rig.LinePressure, math.Round((p+ripple+0.03)/0.08)*0.08)
			add(rig.PumpDrive, s.drive+0.3*random.NormFloat64()*math.Min(1, s.drive))
		}
		run.End = at(t)
		rec.Steps = append(rec.Steps, run)
	}
	rec.Steps[9].Outcome, rec.Steps[9].Note = samples.TimedOut, "the line was not below 0.2 bar"
	rec.Start, rec.End = at(0), at(t)
	rec.Faults = []samples.Fault{{Source: 61, SPN: 4334, FMI: 18, Count: 1, Active: true, First: at(200),
		Last: at(260)}}
	rec.Events = []samples.Event{{Time: at(0), Text: "the bench answers"}, {Time: at(t),
		Text: "safe to open: 0.03 bar gauge"}}
	return rec
}

// madeUpChecks are one of each layer, the last of which is broken.
func madeUpChecks() []measure.Check {
	ch := func(c ...rig.Channel) []rig.Channel { return c }
	return []measure.Check{
		{Name: "volumetric_efficiency possible", Layer: measure.Possible, Suspects: ch(rig.ReturnFlow, rig.PumpSpeed), Value: 91,
			High: 100, U: 0.5, Unit: "%"},
		{Name: "scale_mass alive", Layer: measure.Alive, Suspects: ch(rig.ScaleMass), Value: 3, High: 10, U: 0.1, Unit: "readings"},
		{Name: "return_flow at rest at the end", Layer: measure.AtRest, Suspects: ch(rig.ReturnFlow), Value: 0.4, U: 0.25,
			Unit: "mL/min"},
		{Name: "pump_speed against the pulsation", Layer: measure.Consistent, Suspects: ch(rig.PumpSpeed), Value: 2, Low: 1, High: 1,
			U: 0.004, Found: "the pressure pulses at 25.0 Hz and pump_speed says 12.5 turns a second",
			Why: "a single-diaphragm pump pulses once a turn", Next: "strobe the shaft"},
	}
}
