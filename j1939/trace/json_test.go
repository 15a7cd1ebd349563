package trace

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/diag"
	"holdfast/j1939/id"
	"holdfast/j1939/spn"
)

// jsonLine decodes one frame to its line.
func jsonLine(j *JSON, f can.Frame) string {
	var d Decoder
	var line []byte
	d.Feed([]can.Frame{f}, func(m *Message) { line = j.Append(line, m) })
	return string(line)
}

func frameOf(pgn uint32, length int, data []byte) (f can.Frame) {
	f.ID = uint32(id.Must(6, pgn, id.Global, 61))
	f.IsExtended, f.Length = true, uint8(length)
	copy(f.Data[:], data)
	return f
}

// Whatever the data, a line says of every parameter what the catalogue's own codec says.
func TestJSON_AgreesWithCatalogue(t *testing.T) {
	var groups []*spn.Message
	for _, g := range spn.Messages() {
		if !diag.IsFaultList(g.PGN) && !diag.Repeats(g.PGN) { // these say theirs under faults and diagnostics
			groups = append(groups, g)
		}
	}
	var j JSON
	rapid.Check(t, func(t *rapid.T) {
		g := rapid.SampledFrom(groups).Draw(t, "group")
		data := rapid.SliceOfN(rapid.Byte(), 8, 8).Draw(t, "data")
		length := rapid.IntRange(0, 8).Draw(t, "length")
		if rapid.Bool().Draw(t, "full") {
			length = 8
		}
		var line struct {
			PGN  uint32
			SPNs map[string]struct {
				Value  any
				Status string
				State  string
			}
			Faults []any
		}
		text := jsonLine(&j, frameOf(g.PGN, length, data))
		decoder := json.NewDecoder(strings.NewReader(text))
		decoder.UseNumber()
		require.NoError(t, decoder.Decode(&line), text)
		require.Equal(t, g.PGN, line.PGN)
		if line.Faults != nil {
			return
		}
		for _, p := range g.Parameters {
			raw, value, status := p.Decode(data[:length])
			got, there := line.SPNs[fmt.Sprint(p.SPN)]
			switch {
			case p.Kind == spn.Text || p.Kind == spn.Opaque:
			case status == spn.Absent:
				require.False(t, there, "SPN %d: %s", p.SPN, text)
			case status != spn.Valid:
				require.Equal(t, status.String(), got.Status, "SPN %d: %s", p.SPN, text)
			case raw >= 1<<53:
				require.Equal(t, fmt.Sprintf("0x%x", raw), got.Value)
			default:
				want := strconv.FormatFloat(value, 'f', -1, 64)
				require.Equal(t, want, fmt.Sprint(got.Value), "SPN %d: %s", p.SPN, text)
				require.Equal(t, p.Text(raw), got.State)
			}
		}
	})
}

// The line of a published frame, whole: keys, order and exact values are a promise to programs.
func TestJSON_Line(t *testing.T) {
	f := frameOf(61475, 8, []byte{0x64, 0x00, 0xF2, 0xE8, 0x03, 0x4B, 0xFF, 0xFE})
	f.Time = clock.Instant(1_700_000_000_020_850_000)
	require.Equal(t, `{"time":1700000000.020850,"pgn":61475,"priority":6,"source":61,"destination":255,`+
		`"name":"Aftertreatment 1 SCR Dosing System Information 1","spns":{"4331":{"value":30,"unit":"g/h"},`+
		`"4332":{"value":2,"unit":"","state":"normal dosing operation"},"7524":{"status":"not available"},`+
		`"4333":{"value":100,"unit":"g"},"4334":{"value":600,"unit":"kPa"},`+
		`"6595":{"status":"error indicator","raw":65279}},"data":"6400F2E8034BFFFE"}`+"\n",
		jsonLine(new(JSON), f))
}

func TestJSON_Time(t *testing.T) {
	for _, c := range []struct {
		at   clock.Instant
		want string
	}{
		{0, "0.000000"}, {1, "0.000000001"}, {1_000, "0.000001"}, {999_999_999, "0.999999999"},
		{1_500_000_000, "1.500000"}, {-500_000_000, "-0.500000"}, {-1_500_000_001, "-1.500000001"},
		{math.MaxInt64, "9223372036.854775807"}, {2_000_000, "0.002000"},
	} {
		f := frameOf(61444, 8, nil)
		f.Time = c.at
		var j JSON
		for range 2 { // the second time from the kept second
			line := jsonLine(&j, f)
			require.True(t, strings.HasPrefix(line, `{"time":`+c.want+`,"pgn"`), line)
		}
	}
}

// A name is 64 bits: too long for a JSON number, so it is text. E1 of the worked examples.
func TestJSON_LongNumbers(t *testing.T) {
	line := jsonLine(new(JSON), frameOf(60928, 8, []byte{0x2A, 0x65, 0x00, 0x9D, 0x85, 0xF1, 0xB4, 0x2F}))
	require.Contains(t, line, `"2848":{"value":"0x2fb4f1859d00652a","unit":""}`)
}

// Rubbish in a text is shown and stays JSON.
func TestJSON_Text(t *testing.T) {
	line := jsonLine(new(JSON), frameOf(65259, 8, []byte("A\"\\*\x01\xE9*")))
	require.True(t, json.Valid([]byte(line)), line)
	require.Contains(t, line, `"586":{"value":"A\"\\","unit":""}`)
	require.Contains(t, line, `"587":{"value":"\u0001\u00E9","unit":""}`)
	require.Contains(t, line, `"588":{"status":"not available"}`)
}

// Any stream of frames gives lines that are JSON.
func FuzzJSON(f *testing.F) {
	f.Add(uint32(0x18FECA00), []byte{0x40, 0xFF, 0x5B, 0, 3, 1, 0xFF, 0xFF}, int64(1e18))
	f.Add(uint32(0x1CECFF00), []byte{0x20, 9, 0, 2, 0xFF, 0xEB, 0xFE, 0}, int64(0))
	f.Add(uint32(0x18FEEB00), []byte("A*B*C*"), int64(-1))
	f.Fuzz(func(t *testing.T, number uint32, data []byte, at int64) {
		var frame can.Frame
		frame.ID, frame.IsExtended, frame.Time = number&uint32(id.MaxID), true, clock.Instant(at)
		frame.Length = uint8(copy(frame.Data[:], data))
		if line := jsonLine(new(JSON), frame); !json.Valid([]byte(line)) {
			t.Fatal(line)
		}
	})
}
