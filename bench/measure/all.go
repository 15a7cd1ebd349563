package measure

import (
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// entry is one row of the table of characteristics.
type entry struct {
	name, unit string
	measure    func(*run) Characteristic
}

// table is every characteristic in the order of the bench's table. dosing_error, of which
// there are several, and what shares work with a neighbour are computed in All.
var table = [...]entry{
	{"sensor_zero", "bar", (*run).sensorZero},
	{"sensor_span_error", "%", (*run).sensorSpanError},
	{"sensor_supply", "V", (*run).sensorSupply},
	{"sensor_noise", "bar", (*run).sensorScatter},
	{"fill_pressure", "bar", (*run).fillPressure},
	{"prime_time", "s", (*run).primeTime},
	{"rise_time", "s", (*run).riseTime},
	{"overshoot", "%", (*run).overshoot},
	{"settling_time", "s", (*run).settlingTime},
	{"regulated_pressure", "bar", (*run).regulatedPressure},
	{"ripple", "bar", (*run).ripple},
	{"hold_drive", "%", (*run).holdDrive},
	{"hold_speed", "r/min", (*run).holdSpeed},
	{"hold_current", "A", (*run).holdCurrent},
	{"return_flow", "mL/min", (*run).returnFlow},
	{"restriction_area", "mm2", (*run).restrictionArea},
	{"delivery", "mL/min", (*run).delivery},
	{"volumetric_efficiency", "%", (*run).volumetricEfficiency},
	{"compliance", "mL/bar", (*run).compliance},
	{"leak_rate", "mL/min", (*run).leakRate},
	{"doser_leak", "g/min", (*run).doserLeak},
	{"fluid_loss", "g/min", (*run).fluidLoss},
	{"dosing_error", "%", nil},
	{"changeover_time", "s", (*run).changeoverTime},
	{"purge_time", "s", (*run).purgeTime},
	{"purge_residual", "mL", (*run).purgeResidual},
	{"repressurise_time", "s", (*run).repressuriseTime},
	{"heater_current", "A", (*run).heaterCurrent},
	{"heater_resistance", "ohm", (*run).heaterResistance},
	{"coil_resistance", "ohm", (*run).coilResistance},
	{"wiring_resistance", "ohm", (*run).wiringResistance},
	{"fault_codes", "", (*run).faultCodes},
}

// All measures every characteristic, in the order of the bench's table. What the recording
// does not carry is there too, not measured and with the reason. The result depends on
// nothing but the three arguments, none of which is changed.
func All(rec *samples.Recording, r *rig.Rig, p *scenario.Plan) []Characteristic {
	b := newRun(rec, r, p)
	out := make([]Characteristic, 0, len(table)+3)
	for _, e := range table {
		if e.measure == nil {
			out = append(out, b.dosingErrors(e.name, e.unit)...)
			continue
		}
		c := e.measure(b)
		c.Name, c.Unit = e.name, e.unit
		out = append(out, c)
	}
	return append(out, b.answers()...)
}

// Find returns the first characteristic of a name (and set point, when at is not empty);
// one that is not there comes back as not measured.
func Find(all []Characteristic, name, at string) Characteristic {
	for _, c := range all {
		if c.Name == name && (at == "" || c.At == at) {
			return c
		}
	}
	return Characteristic{Name: name, At: at, Why: "not in this result"}
}
