package main

import (
	"encoding/json"
	"fmt"
	"math"
	"sort"

	"holdfast/sim/other/plant"
)

// question is what the harness asks for at the end: the steps as they went, and the characteristics that its
// plan limits.
type question struct {
	Nominal float64  `json:"nominal_bar"`
	Steps   []step   `json:"steps"`
	Wanted  []wanted `json:"wanted"`
}

type step struct {
	Name     string  `json:"name"`
	Kind     string  `json:"kind"`
	Start    int64   `json:"start_ns"`
	End      int64   `json:"end_ns"`
	Outcome  string  `json:"outcome"`
	Pressure float64 `json:"pressure_bar"`
	Band     float64 `json:"band_percent"`
	Stays    float64 `json:"stays_s"`
	Settle   float64 `json:"settle_s"`
	Pulse    float64 `json:"pulse_s"`
}

type wanted struct {
	Name  string  `json:"name"`
	At    string  `json:"at"`
	Unit  string  `json:"unit"`
	From  int64   `json:"from_ns"`
	To    int64   `json:"to_ns"`
	Asked float64 `json:"asked_g_per_min"`
}

type value struct {
	Name  string  `json:"name"`
	At    string  `json:"at"`
	Unit  string  `json:"unit"`
	Value float64 `json:"value"`
}

type instrument struct {
	Message string  `json:"message"`
	Signal  string  `json:"signal"`
	Unit    string  `json:"unit"`
	Error   float64 `json:"error"`
	At      float64 `json:"at"`
	Kind    string  `json:"kind"`
}

type answer struct {
	Schema      string             `json:"schema"`
	Peer        string             `json:"peer"`
	Seed        uint64             `json:"seed"`
	Type        string             `json:"unit_type"`
	Faults      map[string]float64 `json:"faults"`
	Values      []value            `json:"values"`
	NotMet      []string           `json:"not_met"`
	Instruments []instrument       `json:"instruments"`
	Extremes    map[string]float64 `json:"extremes"`
}

// truth answers what was really there, from the plant's own course and nothing that went over the bus.
func (r *run) truth(text []byte, start int64) ([]byte, error) {
	var q question
	if err := json.Unmarshal(text, &q); err != nil {
		return nil, fmt.Errorf("what is wanted: %w", err)
	}
	a := answer{Schema: "holdfast-truth/1", Peer: "other", Seed: r.seed, Type: r.kind,
		Faults: map[string]float64{},
		Values: []value{}, NotMet: []string{}, Instruments: r.instruments(), Extremes: r.extremes()}
	for _, f := range r.faults {
		a.Faults[f.Name] = f.Severity
	}
	c := course{run: r, start: start, question: q}
	for _, w := range q.Wanted {
		v, known := c.value(w)
		if known && !math.IsNaN(v) && !math.IsInf(v, 0) {
			a.Values = append(a.Values, value{w.Name, w.At, w.Unit, v})
		}
	}
	for _, s := range q.Steps {
		if !c.met(s) {
			a.NotMet = append(a.NotMet, s.Name)
		}
	}
	return json.Marshal(a)
}

// instruments are the errors as drawn, at the value where it matters most.
func (r *run) instruments() []instrument {
	b := r.node.Bench
	nominal := r.node.World.NominalGauge / 1e3 // kPa
	at := map[string]struct {
		message string
		at      float64
	}{
		"UnitPressure": {"BenchHydraulics", nominal}, "ReferencePressure": {"BenchHydraulics", nominal},
		"ReturnFlow": {"BenchHydraulics", 150}, "PumpSpeed": {"BenchHydraulics", 1500},
		"SupplyVoltage": {"BenchElectrics", r.node.World.SupplyVolts}, "UnitVoltage": {"BenchElectrics",
			r.node.World.SupplyVolts},
		"PumpCurrent": {"BenchElectrics", 0.5}, "ValveCurrent": {"BenchElectrics", 1.3},
		"ScaleMass": {"BenchScale", 40}, "SensorSupplyVoltage": {"BenchScale", 5}, "HeaterCurrent": {"BenchScale",
			6},
		"FluidTemperature": {"BenchAmbient", 20}, "AmbientTemperature": {"BenchAmbient", 20},
		"AmbientPressure": {"BenchAmbient", 98}, "ReservoirMass": {"BenchAmbient", 1500},
	}
	var list []instrument
	for _, i := range b.All() {
		m := at[i.Signal]
		list = append(list, instrument{m.message, i.Signal, i.Unit, i.Error(m.at, 0), m.at, "as drawn"})
	}
	return list
}

func (r *run) extremes() map[string]float64 {
	e := map[string]float64{"highest_pressure_bar": -1, "lowest_pressure_bar": 100, "highest_speed_rpm": 0,
		"highest_drive_percent": 0, "fluid_lost_g": r.node.World.Lost() * 1e3, "pump_ran_after_off_s": r.node.RanOn}
	for _, m := range r.log.Moments {
		e["highest_pressure_bar"] = max(e["highest_pressure_bar"], float64(m.Pressure))
		e["lowest_pressure_bar"] = min(e["lowest_pressure_bar"], float64(m.Pressure))
		e["highest_speed_rpm"] = max(e["highest_speed_rpm"], float64(m.Speed))
		e["highest_drive_percent"] = max(e["highest_drive_percent"], 100*float64(m.Drive))
	}
	return e
}

// course answers about stretches of the run.
type course struct {
	*run
	start int64
	question
}

func (c course) seconds(ns int64) float64 { return float64(ns-c.start) / 1e9 }

func (c course) during(s step) []plant.Moment {
	return c.log.Between(c.seconds(s.Start), c.seconds(s.End))
}

// first is the first step of a kind that began.
func (c course) first(kind string) (step, bool) {
	for _, s := range c.Steps {
		if s.Kind == kind && s.End > s.Start {
			return s, true
		}
	}
	return step{}, false
}

// stretch is what a characteristic was measured over.
func (c course) stretch(w wanted) []plant.Moment {
	if w.To <= w.From {
		return nil
	}
	return c.log.Between(c.seconds(w.From), c.seconds(w.To))
}

// mean over time of a quantity; false without a stretch.
func mean(ms []plant.Moment, of func(plant.Moment) float64) (float64, bool) {
	if len(ms) < 3 {
		return 0, false
	}
	sum := 0.0
	for i := 1; i < len(ms); i++ {
		sum += (of(ms[i]) + of(ms[i-1])) / 2 * (ms[i].T - ms[i-1].T)
	}
	return sum / (ms[len(ms)-1].T - ms[0].T), true
}

func pressure(m plant.Moment) float64 { return float64(m.Pressure) }

// ripple is the 95th percentile over windows of 1 s of the peak to peak about a straight line.
func ripple(ms []plant.Moment) (float64, bool) {
	var all []float64
	for i := 0; i < len(ms); {
		j := sort.Search(len(ms), func(j int) bool { return ms[j].T > ms[i].T+1 })
		if j >= len(ms) {
			break
		}
		all = append(all, peaks(ms[i:j]))
		i = j
	}
	if len(all) == 0 {
		return 0, false
	}
	sort.Float64s(all)
	return all[min(len(all)-1, int(math.Ceil(0.95*float64(len(all))))-1)], true
}

func peaks(ms []plant.Moment) float64 {
	var n, st, sp, stt, stp float64
	for _, m := range ms {
		t, p := m.T-ms[0].T, pressure(m)
		n, st, sp, stt, stp = n+1, st+t, sp+p, stt+t*t, stp+t*p
	}
	slope := (n*stp - st*sp) / (n*stt - st*st)
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, m := range ms {
		p := pressure(m) - slope*(m.T-ms[0].T)
		lo, hi = min(lo, p), max(hi, p)
	}
	return hi - lo
}
