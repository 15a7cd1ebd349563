package trace

import (
	"encoding/hex"
	"encoding/json"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/dbc"
	"holdfast/j1939/transport"
)

// heard is one message as the decoder hands it out, however many frames carried it.
func heard(t testing.TB, pgn uint32, source uint8, data string) *Message {
	b, err := hex.DecodeString(strings.ReplaceAll(data, " ", ""))
	require.NoError(t, err)
	m := &Message{Time: clock.Instant(1e9), PGN: pgn, Priority: 6, Source: source, Destination: 255, Data: b}
	if len(b) > 8 {
		m.Transport = transport.BAM
	}
	m.plan = compiled().plan(pgn, b)
	return m
}

func own(t testing.TB) *dbc.File {
	f, err := dbc.Parse("own.dbc", []byte(`BO_ 2566849278 Own: 8 N
 SG_ Line : 0|16@1+ (0.05,0) [0|3212.75] "kPa" N
 SG_ Page M : 16|8@1+ (1,0) [0|0] "" N
 SG_ Mode m2 : 24|8@1+ (1,0) [0|3] "" N
VAL_ 2566849278 Mode 1 "läuft";
`))
	require.NoError(t, err)
	return f
}

// Lines of a person's own signals; the message itself (65282) is Proprietary B.
func TestOwnSignals(t *testing.T) {
	k := Known{Own: own(t)}
	text, lines, s := Text{Known: k}, JSON{Known: k}, Summary{Known: k}
	for _, c := range []struct{ data, text, json string }{
		{"D007 02 01 00000000", "Line 100 kPa; Page 2; Mode läuft",
			`{"Line":{"value":100,"unit":"kPa"},"Page":{"value":2,"unit":""},"Mode":{"value":1,"unit":"","state":"läuft"}}`},
		{"FFFF 03 01 00000000", "Page 3", `{"Line":{"status":"not available"},"Page":{"value":3,"unit":""}}`},
		{"00FE 02 09 00000000", "Line out of range, raw 65024; Page 2; Mode out of range, raw 9",
			`{"Line":{"status":"out of range","raw":65024},"Page":{"value":2,"unit":""},
			"Mode":{"status":"out of range","raw":9}}`},
	} {
		m := heard(t, 65282, 17, c.data)
		require.Contains(t, string(text.Append(nil, m)), c.text)
		var line struct{ Signals json.RawMessage }
		require.NoError(t, json.Unmarshal(lines.Append(nil, m), &line))
		require.JSONEq(t, c.json, string(line.Signals))
		s.Add(m)
	}
	r := s.Report(Counts{})
	require.Contains(t, r.Text(), "Line: 100 kPa; out of range once; not available once\n")
	require.Contains(t, r.Text(), "Page: 2 to 3, last 2\n")
	report, err := r.JSON()
	require.NoError(t, err)
	require.Contains(t, string(report), `"out_of_range": 1`)
}

// A code with the conversion bit is read as its source is stated to write it. Vectors C15 to C17 of the
// worked examples: SPN 1208 FMI 3 (Engine Oil Filter Intake Pressure) in versions 1, 2 and 3.
func TestConversions_BySource(t *testing.T) {
	var k Known
	require.NoError(t, k.Conversions.Set("0=1,61=2"))
	for source, data := range map[uint8]string{
		0: "04FF 00 97 03 8A FFFF", 61: "04FF 97 00 03 8A FFFF", 3: "04FF B8 04 03 8A FFFF",
	} {
		text, lines, s := Text{Known: k}, JSON{Known: k}, Summary{Known: k}
		m := heard(t, 65226, source, data)
		require.Contains(t, string(text.Append(nil, m)), "SPN 1208 FMI 3 x10 (old form, read as version")
		require.Contains(t, string(lines.Append(nil, m)), `"spn":1208,"fmi":3,"count":10,"assumed_conversion":`)
		s.Add(m)
		r := s.Report(Counts{})
		require.EqualValues(t, 1208, r.Faults[0].DTC.SPN)
	}
}

// Every record of a diagnostic message is told, in all three outputs. Records F9 to F12 of the worked
// examples.
func TestDiagnostics(t *testing.T) {
	for _, c := range []struct {
		pgn        uint32
		data       string
		text, json string
	}{
		{64950, "E1061C01 08111E02", "SPN 4360 (freeze frame)", `"spn":4360`},
		{41984, "F7BA121F 2000 01FB FFFF FFFF F7BC121F 4400 FFFA 00F0 00A0", "1734.97 °C", `"value":1734.96875`},
		{49664, "0C000100 CA14F800000100 B812F803000400", "SPN 5322 (Aftertreatment NMHC Converting Catalyst System Monitor): ran 0 of 1; SPN 4792", `"spn":4792`},
		{54016, "51BAFEBD414E5435415352312020000000000000", "calibration ANT5ASR1, CVN BDFEBA51", `"cvn":"BDFEBA51"`},
		{65230, "0B161470 0000FF1F", "11 active, 22 previously active", `"active_codes":{"spn":1218`},
		{41728, "610213817 32E", "SPN 609 FMI 19 (Controller #2) lights: MIL flashing slow", `"assumed_conversion":3`},
	} {
		var text Text
		var lines JSON
		var s Summary
		m := heard(t, c.pgn, 0, c.data)
		require.Contains(t, string(text.Append(nil, m)), c.text)
		line := lines.Append(nil, m)
		require.True(t, json.Valid(line), string(line))
		require.Contains(t, string(line), c.json)
		s.Add(m)
		r := s.Report(Counts{})
		require.Contains(t, r.Text(), c.text)
		report, err := r.JSON()
		require.NoError(t, err)
		require.Contains(t, strings.ReplaceAll(string(report), `": `, `":`), c.json[:10])
	}
}

// DM25 is read with the list that the same source sent before as DM24, and with nobody else's.
func TestDiagnostics_FreezeFramesByTheirList(t *testing.T) {
	var text Text
	list := heard(t, 64950, 61, "E1061C01 08111E02")
	text.Append(nil, list)
	frame := "08 EE101201 7D 002C AA"
	require.Contains(t, string(text.Append(nil, heard(t, 64951, 61, frame))), "Tank Volume (1761) 50.0 %")
	require.Contains(t, string(text.Append(nil, heard(t, 64951, 0, frame))),
		"expanded freeze frame of SPN 4334 FMI 18: 7D002CAA")
	var s Summary
	s.Add(heard(t, 64951, 61, frame))
	s.Add(list)
	r := s.Report(Counts{})
	require.Contains(t, r.Text(), "Tank Volume (1761) 50.0 %", "whichever of the two came first")
}

// Too short for its layout: shown as bytes, null in JSON.
func TestDiagnostics_Short(t *testing.T) {
	var text Text
	var lines JSON
	m := heard(t, 41984, 0, "F7BA")
	require.Contains(t, string(text.Append(nil, m)), "Scaled Test Results: F7BA")
	require.Contains(t, string(lines.Append(nil, m)), `"diagnostics":null`)
}

// A request names the group that is asked for.
func TestText_NamesTheRequestedGroup(t *testing.T) {
	var text Text
	require.Contains(t, string(text.Append(nil, heard(t, 59904, 249, "D3FE00"))),
		"65235 (DM11)") // worked example F1
}

// The summary says who the controllers are.
func TestSummary_Identification(t *testing.T) {
	var d Decoder
	var s Summary
	d.Feed([]can.Frame{}, s.Add)
	s.Add(heard(t, 65259, 0, hex.EncodeToString([]byte("DEMO*HF-1\x00*SN\x01*"))))
	r := s.Report(d.Counts())
	require.Contains(t, r.Text(), `component: make DEMO, model HF-1, serial number SN\x01`)
}

// Groups whose layout the facts do not tell for sure are named and shown as bytes; DM35 is a list of DM1's layout.
func TestDiagnostics_NamedOnly(t *testing.T) {
	for pgn, name := range map[uint32]string{41472: "DM32", 41216: "DM33", 40960: "DM34"} {
		var text Text
		var j JSON
		m := heard(t, pgn, 61, "0102030405060708")
		line := string(text.Append(nil, m))
		require.Contains(t, line, name)
		require.Contains(t, line, ": 0102030405060708")
		require.Contains(t, string(j.Append(nil, m)), `"spns":{},"data":`)
	}
	var j JSON
	require.Contains(t, string(j.Append(nil, heard(t, 40704, 61, "04FFEE101203FFFF"))), `"faults":[{"spn":4334,"fmi":18`)
}
