package rigfile_test

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	einride "go.einride.tech/can"

	"holdfast/bench/rig"
	"holdfast/bench/rig/rigfile"
	"holdfast/bench/yamltext"
	"holdfast/j1939/can"
)

const ambient = 0x18FF14C8 // BenchAmbient of bench-node.dbc: priority 6, PGN 65300, source 0xC8

func frame(id uint32, data ...byte) can.Frame {
	f := can.Frame{Frame: einride.Frame{ID: id, Length: uint8(len(data)), IsExtended: true}, Time: 42}
	copy(f.Data[:], data)
	return f
}

// edited is the shipped rig with one text replaced.
func edited(t testing.TB, old, with string) []byte {
	t.Helper()
	text, err := os.ReadFile(shipped + "bench-node.yaml")
	require.NoError(t, err)
	require.Equal(t, 1, strings.Count(string(text), old), "the shipped rig has %q once", old)
	return []byte(strings.Replace(string(text), old, with, 1))
}

func problemsIn(t testing.TB, text []byte) yamltext.Problems {
	t.Helper()
	_, err := rigfile.Parse("r.yaml", text, beside)
	var problems yamltext.Problems
	require.ErrorAs(t, err, &problems)
	return problems
}

// Each case is one mistake in an otherwise good file: exactly one problem answers it.
func TestParse_OneMistake(t *testing.T) {
	for _, c := range []struct{ old, with, want string }{
		{"cycle: 20 ms ", "cycle: 20 ", "cycle: 20: which unit? write 20 s"},
		{"cycle: 20 ms ", "cycle: 20 bar ", "bar is a unit of pressure; time is wanted here"},
		{"cycle: 20 ms ", "cycle: -20 ms ", "cycle: -20 ms; it must be above 0 and at most 0.1 s"},
		{"cycle: 20 ms ", "cycle: 1 ms ", "it must be 5 ms to 100 ms"},
		{"node_timeout: 200 ms", "node_timeout: 2 s", "node_timeout: 2 s; it must be above 0 and at most 1 s"},
		{"node_timeout: 200 ms", "node_timeout: 40 ms", "it must be at least three cycles"},
		{"node_timeout: 200 ms           #", "# ", "a rig without node_timeout; write node_timeout: 200 ms"},
		{"unit: bare ", "unit: bara ", `unit: "bara"; did you mean bare?`},
		{"fluid: DEF ", "fluid: oil ", `fluid: "oil"; known here: DEF, water`},
		{"max_pressure: 12 bar", "max_presure: 12 bar", `guard has no key "max_presure"; did you mean max_pressure?`},
		{"max_pressure: 12 bar", "max_pressure: 0 bar", "max_pressure: 0 bar; it must be above 0 and at most 40 bar"},
		{"stale_after: 5 intervals", "stale_after: 5", "stale_after: 5; write a whole number of intervals"},
		{"our_address: 0xF9", "our_address: 300", "our_address: 300; write a whole number 0 to 253"},
		{"node_address: 0xC8", "node_address: 0xF9", "node_address: 249, the same as our_address"},
		{"  pump_speed:", "  pump_sped:", `no channel is called "pump_sped"; did you mean pump_speed?`},
		{"signal: BenchHydraulics.PumpSpeed", "signal: BenchHydraulics.PumpSped", "did you mean BenchHydraulics.PumpSpeed?"},
		{"signal: BenchHydraulics.PumpSpeed", "signal: BenchHydraulics.ReturnFlow", "BenchHydraulics.ReturnFlow carries mL/min; pump_speed is a speed"},
		{"signal: BenchScale.EmergencyStop", "signal: BenchScale.ScaleMass", "BenchScale.ScaleMass carries g; emergency_stop is a state"},
		{"signal: BenchHydraulics.PumpSpeed", "signal: {spn: 1234567}", "spn: 1234567; write a whole number 1 to 524287"},
		{"signal: BenchHydraulics.PumpSpeed", "signal: {pgn: 65297, start: 60, length: 16, unit: rpm}", "bits 60 to 75; a classic CAN frame has bits 0 to 63"},
		{"signal: BenchHydraulics.PumpSpeed", "signal: [a]", "signal: a list; write signal: Message.Signal"},
		{"{released: 0, pressed: 1}", "{released: 0, pressed: 3}", "pressed: 3; write a whole number 0 to 1"},
		{"{released: 0, pressed: 1}", "{released: 1, pressed: 1}", "values: 1 for both released and pressed"},
		{"accuracy: {absolute: 1 mbar}", "accuracy: {absolute: 1 g}", "g is a unit of mass; pressure is wanted here"},
		{"accuracy: {absolute: 1 mbar}", "accuracy: {}", "accuracy without a number"},
		{"accuracy: {absolute: 1 mbar}", "accuracy: {of_span: 1 %}", "accuracy with one of of_span and span"},
		{"accuracy: {absolute: 1 mbar}", "accuracy: {absolute: 0 mbar}", "no instrument is so perfect"},
		{"    part_of_unit: true\n", "    part_of_unit: true\n    due: 2030-01-01\n", "due of a sensor that is part of the unit"},
		{"    part_of_unit: true\n", "    part_of_unit: ja\n    calibrated: 2026-01-01\n    due: 2030-01-01\n", "part_of_unit: ja; write true or false"},
		{"accuracy: {of_span: 1 %, span: 14 bar}\n", "accuracy: {of_span: 1 %, span: 14 bar}\n    sent_as: gauge\n", "sent_as for the second time"},
		{"    sent_as: absolute\n    part_of_unit", "    part_of_unit", "line_pressure without sent_as; write sent_as: absolute or gauge"},
		{"dosing_duty: {signal: BenchOutputs.DosingValveDuty, safe: 0 %}", "dosing_duty: {signal: BenchOutputs.DosingValveDuty, safe: 5 %}", "the safe state of dosing_duty is 0 %"},
		{"dosing_duty: {signal: BenchOutputs.DosingValveDuty, safe: 0 %}", "dosing_duty: {signal: BenchOutputs.PumpDrive, safe: 0 %}", "dosing_duty shares bits with pump_drive"},
		{"dosing_duty: {signal: BenchOutputs.DosingValveDuty, safe: 0 %}", "dosing_duty: {signal: BenchOutputs.DosingValveDuty, safe: 0 %, max: 120 %}", "max: 120 %; it must be 0 to 100 %"},
		{"dosing_duty: {signal: BenchOutputs.DosingValveDuty, safe: 0 %}", "dosing_duty: {signal: BenchHydraulics.ReturnFlow, safe: 0 %}", "is sent from address 200; our_address is 249"},
		{"values: {off: 0, on: 1}\n    safe: off\n  unit_power", "values: {off: 0, on: 1}\n    safe: on\n  unit_power", "the safe state of heater is off"},
		{"alive_counter: BenchOutputs.AliveCounter", "alive_counter: BenchOutputs.Vent", "alive_counter shares bits with vent"},
		{"line_volume: {value: 38 mL, U: 1 mL}", "line_volume: {value: 38 mL}", "line_volume without U"},
		{"regulator: {gain: 6 %/bar", "regulator: {gain: 6 %", "gain: % is a unit of ratio; gain is wanted here: %/bar"},
		{"lost: 1.5 ms", "lost: 1 s", "less than one period can be lost per opening"},
		{"messages: bench-node.dbc", "messages: none.dbc", "messages: open ../../../scenarios/rigs/none.dbc"},
		{"name: bench-node\n", "name: Bench Node\n", "write small letters, digits and hyphens"},
		{"holdfast: rig/1", "holdfast: rig/2", `holdfast: "rig/2"; did you mean rig/1?`},
		{"title: ", "titel: x\ntitle: ", `a rig has no key "titel"; did you mean title?`},
	} {
		problems := problemsIn(t, edited(t, c.old, c.with))
		require.Len(t, problems, 1, "%s -> %s:\n%v", c.old, c.with, problems)
		require.ErrorContains(t, problems, c.want)
		require.Positive(t, problems[0].Line)
		require.Positive(t, problems[0].Column)
	}
}

// A tare that is mapped has no effect: in a file that somebody writes it is refused at its place, in the rig of an old
// record it is passed over, and what is left is the same rig.
func TestParse_Tare(t *testing.T) {
	text := edited(t, "alive_counter:", "  scale_tare: {signal: BenchOutputs.ScaleTare, values: {no: 0, tare: 1}, safe: no}\nalive_counter:")
	at := 1 + strings.Count(string(text[:bytes.Index(text, []byte("  scale_tare"))]), "\n")
	require.EqualError(t, problemsIn(t, text), fmt.Sprintf("r.yaml:%d:3: scale_tare: nothing tares the scale, "+
		"masses are differences of its readings; leave it out", at))
	old, err := rigfile.ParseKept("r.yaml", text, beside)
	require.NoError(t, err)
	now, err := rigfile.ParseKept("r.yaml", edited(t, "alive_counter:", "alive_counter:"), beside)
	require.NoError(t, err)
	require.Equal(t, now.Commands, old.Commands)
	require.Nil(t, old.Commands[rig.SetScaleTare])
}

func TestParse_DueBeforeCalibrated(t *testing.T) {
	text := edited(t, "    due: 2036-09-01\n  ambient_pressure", "    due: 2026-08-31\n  ambient_pressure")
	require.EqualError(t, problemsIn(t, text), "r.yaml:36:10: due: 2026-08-31 before calibrated: 2026-09-01; a calibration is due after it was made")
}

// Several mistakes come back together, in the order of the text.
func TestParse_AllAtOnce(t *testing.T) {
	text := []byte(strings.Join([]string{"holdfast: rig/1", "name: x", "unit: bare", "fluid: DEF", "our_address: 1", "node_address: 2",
		"cycle: 20", "guard: {max_pressure: 12}", "channels:", "  lin_pressure: {}", "colour: red"}, "\n"))
	require.EqualError(t, problemsIn(t, text), strings.Join([]string{
		"r.yaml:1:1: a rig without node_timeout; write node_timeout: 200 ms   # after so long without a command the node takes its safe state; it covers a harness that dies",
		"r.yaml:1:1: a rig without commands; write commands: a map of command names",
		"r.yaml:1:1: a rig without line_volume; write line_volume: {value: 38 mL, U: 1 mL}",
		"r.yaml:1:1: a rig without check_valve; write check_valve: {value: 0.3 bar, U: 0.05 bar}",
		"r.yaml:1:1: a rig without regulator; write regulator: {gain: 6 %/bar, reset: 2 s, max_drive: 100 %, feed_drive: 40 %}",
		"r.yaml:7:8: cycle: 20: which unit? write 20 s",
		"r.yaml:8:9: guard without stale_after; write stale_after: 2 intervals",
		"r.yaml:8:23: max_pressure: 12: which unit? write 12 bar",
		`r.yaml:10:3: no channel is called "lin_pressure"; did you mean line_pressure?`,
		"r.yaml:10:3: channels without line_pressure; map it: no bench can be watched without it",
		"r.yaml:10:3: channels without emergency_stop; map it: no bench can be watched without it",
		"r.yaml:10:3: channels without outputs_enabled; map it: no bench can be watched without it",
		`r.yaml:11:1: a rig has no key "colour"; known here: holdfast, name, title, unit, fluid, messages, our_address, ` +
			"node_address, other_senders, cycle, node_timeout, guard, altitude, barometer, relief, channels, commands, alive_counter, instrument_counters, command_echo, line_volume, check_valve, " +
			"stroke_volume, dosing_valve, regulator, verify_every",
	}, "\n"))
}

func TestParse_BadDBC(t *testing.T) {
	text := edited(t, "cycle: 20 ms ", "cycle: 20 ms ")
	_, err := rigfile.Parse("r.yaml", text, func(string) ([]byte, error) { return []byte("VERSION \"\"\nBO_ x"), nil })
	require.ErrorContains(t, err, `r.yaml:8:11: messages: bench-node.dbc:2:5: expected a whole number, 0 or more, found "x"; write BO_ `)
	_, err = rigfile.Parse("r.yaml", text, func(string) ([]byte, error) { return nil, errors.New("no such file") })
	require.EqualError(t, err, "r.yaml:8:11: messages: no such file; name a DBC file beside this one")
}

// A DBC signal that J1939 does not send is refused with its reason.
func TestParse_UnreadableSignals(t *testing.T) {
	for want, line := range map[string]string{
		"do not fit into the 8 bytes of its message": ` SG_ PumpSpeed : 56|16@1+ (0.125,0) [0|8031.875] "rpm" Harness`,
		"big-endian, signed or multiplexed; J1939":   ` SG_ PumpSpeed : 48|16@1- (0.125,0) [0|8031.875] "rpm" Harness`,
		"make no quantity":                           ` SG_ PumpSpeed : 48|16@1+ (0,0) [0|8031.875] "rpm" Harness`,
		"PumpSpeed carries no unit":                  ` SG_ PumpSpeed : 48|16@1+ (0.125,0) [0|8031.875] "" Harness`,
	} {
		text := edited(t, "cycle: 20 ms ", "cycle: 20 ms ")
		_, err := rigfile.Parse("r.yaml", text, func(name string) ([]byte, error) {
			dbc, err := beside(name)
			require.Contains(t, string(dbc), ` SG_ PumpSpeed : 48|16@1+ (0.125,0) [0|8031.875] "rpm" Harness`)
			return []byte(strings.Replace(string(dbc), ` SG_ PumpSpeed : 48|16@1+ (0.125,0) [0|8031.875] "rpm" Harness`, line, 1)), err
		})
		require.ErrorContains(t, err, want)
	}
}

// SPN 4334 is the doser's absolute pressure, 8 kPa per bit (SAE J1939DA by spns.tsv); worked
// example H1 of the facts: raw 0x4B is 600 kPa. SPN 108 is barometric pressure.
func TestParse_SPN(t *testing.T) {
	text := edited(t, "signal: BenchHydraulics.UnitPressure", "signal: {spn: 4334, from: 0x3D}\n    every: 50 ms")
	r, err := rigfile.Parse("r.yaml", text, beside)
	require.NoError(t, err)
	require.InDelta(t, 0.08, r.Channels[rig.LinePressure].Resolution, 1e-12)
	d := rig.NewDecoder(r)
	d.Decode(frame(ambient, 0xA0, 0x24, 0x40, 0x25, 0x10, 0x27, 0x50, 0xC3), nil)
	got := d.Decode(frame(0x0CF0233D, 0x64, 0x00, 0x02, 0xE8, 0x03, 0x4B, 0xFF, 0xFF), nil)
	require.Len(t, got, 1)
	require.InDelta(t, 5.0, got[0].Value, 1e-12)
	require.Empty(t, d.Decode(frame(0x0CF0233E, 0x64, 0x00, 0x02, 0xE8, 0x03, 0x4B, 0xFF, 0xFF), nil), "from another address")
	buf := make([]rig.Reading, 0, 4)
	f := frame(0x0CF0233D, 0x64, 0x00, 0x02, 0xE8, 0x03, 0x4B, 0xFF, 0xFF)
	require.Zero(t, testing.AllocsPerRun(100, func() { buf = d.Decode(f, buf[:0]) }))

	text = edited(t, "signal: BenchHydraulics.UnitPressure", "signal: {pgn: 61475, start: 40, length: 8, scale: 8, unit: kPa}\n    every: 50 ms")
	r, err = rigfile.Parse("r.yaml", text, beside)
	require.NoError(t, err)
	d = rig.NewDecoder(r)
	d.Decode(frame(ambient, 0xA0, 0x24, 0x40, 0x25, 0x10, 0x27, 0x50, 0xC3), nil)
	got = d.Decode(frame(0x0CF02377, 0x64, 0x00, 0x02, 0xE8, 0x03, 0x4B, 0xFF, 0xFF), nil)
	require.InDelta(t, 5.0, got[0].Value, 1e-12, "an own signal without from: whoever sends it")
}

func TestOverdue(t *testing.T) {
	r := benchNode(t)
	day := func(s string) time.Time {
		d, err := time.Parse(time.DateTime, s)
		require.NoError(t, err)
		return d
	}
	require.Empty(t, r.Overdue(day("2030-01-01 12:00:00")))
	require.Empty(t, r.Overdue(day("2036-09-01 23:59:59")), "the due day still holds")
	require.Len(t, r.Overdue(day("2036-09-02 00:00:00")), 14, "every instrument, not the unit's sensor and no state")
	require.Len(t, r.Overdue(day("2026-08-31 23:59:59")), 14, "not calibrated yet")
}

func FuzzParse(f *testing.F) {
	text, err := os.ReadFile(shipped + "bench-node.yaml")
	require.NoError(f, err)
	dbc, err := beside("bench-node.dbc")
	require.NoError(f, err)
	f.Add(text, dbc)
	f.Add(beforeCycle(f, "other_senders: [{address: 0x33, what: power supply}, {address: 7}]"), dbc)
	f.Add([]byte("holdfast: rig/1\nchannels: {line_pressure: {signal: {spn: 4334}}}"), []byte("BO_ 2365526265 A: 8 N\n SG_ B : 0|16@1+ (1,0) [0|0] \"\" N\n"))
	f.Fuzz(func(t *testing.T, text, dbc []byte) {
		r, err := rigfile.Parse("r.yaml", text, func(string) ([]byte, error) { return dbc, nil })
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		// What was accepted can be used.
		require.NoError(t, r.Check(r.Safe))
		frames := rig.NewEncoder(r).Encode(r.Safe, nil)
		d := rig.NewDecoder(r)
		for _, in := range frames {
			require.NoError(t, in.Validate())
			c := frame(in.ID, in.Data[:in.Length]...)
			d.Decode(c, nil)
		}
	})
}
