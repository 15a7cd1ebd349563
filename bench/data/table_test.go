package data_test

import (
	"bytes"
	"encoding/csv"
	"math"
	"strconv"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/require"

	"holdfast/bench/data"
	"holdfast/bench/grade"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/can"
	"holdfast/j1939/clock"
	"holdfast/j1939/trace"

	einride "go.einride.tech/can"
)

var noon = time.Date(2026, 3, 4, 12, 0, 0, 123456789, time.UTC)

func recording(n int) *samples.Recording {
	rec := &samples.Recording{}
	for i := range n {
		at := clock.At(noon).Add(time.Duration(i) * 10 * time.Millisecond)
		s := &rec.Channels[rig.ReferencePressure]
		s.T, s.V = append(s.T, at), append(s.V, float64(i)/7)
		if i%100 == 0 {
			c := &rec.Commands[rig.SetPumpDrive]
			c.T, c.V = append(c.T, at), append(c.V, float64(i))
		}
	}
	return rec
}

// Every reading and command comes out once, with its time to the microsecond, in both forms.
func TestSamples_BothForms(t *testing.T) {
	const n = 10_001 // more than two pieces
	var files [2]bytes.Buffer
	for i, f := range []data.Format{data.Parquet, data.CSV} {
		table, err := data.NewTable[data.Sample](&files[i], f)
		require.NoError(t, err)
		require.NoError(t, data.Samples(samples.Identity{Run: "r", Serial: `A,"7"`}, recording(n),
			table.Write))
		require.NoError(t, table.Close())
	}
	rows, err := parquet.Read[data.Sample](bytes.NewReader(files[0].Bytes()), int64(files[0].Len()))
	require.NoError(t, err)
	lines, err := csv.NewReader(&files[1]).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, n+101)
	require.Len(t, lines, n+101+1)
	require.Equal(t, []string{"run", "serial", "kind", "channel", "time", "value", "unit"}, lines[0])
	for i, r := range rows {
		line := lines[i+1]
		require.Equal(t, []string{r.Run, r.Serial, r.Kind, r.Channel}, line[:4])
		at, err := time.Parse(time.RFC3339Nano, line[4])
		require.NoError(t, err)
		require.Equal(t, r.Time, at.UnixMicro())
		v, err := strconv.ParseFloat(line[5], 64)
		require.NoError(t, err)
		require.Equal(t, r.Value, v, "exact in both")
	}
	require.Equal(t, noon.UnixMicro(), rows[0].Time)
	require.Equal(t, "command", rows[n].Kind)
}

// What was not measured is NULL, in Parquet as in CSV.
func TestResults_NoNumberIsNull(t *testing.T) {
	upper := 1.0
	res := &judge.Result{Identity: samples.Identity{Run: "r", Started: noon}, Verdict: judge.Undecided,
		Lines: []judge.Line{
			{Characteristic: measure.Characteristic{Name: "leak_rate", Value: math.NaN()},
				Limit:   &scenario.Limit{Upper: &upper},
				Verdict: grade.NotMeasured},
			{Characteristic: measure.Characteristic{Name: "purge_time", Value: 60, State: measure.AtLeast, U: 3}},
		}}
	rows := data.Results(res)
	require.Nil(t, rows[0].Value)
	require.Nil(t, rows[0].UnitHours)
	require.Equal(t, 1.0, *rows[0].Upper)
	require.Equal(t, "not measured", rows[0].State)
	require.Equal(t, 60.0, *rows[1].Value)
	require.Nil(t, rows[1].U, "a least value has no uncertainty")
	var b bytes.Buffer
	table, err := data.NewTable[data.Result](&b, data.CSV)
	require.NoError(t, err)
	require.NoError(t, table.Write(rows))
	require.NoError(t, table.Close())
	lines, err := csv.NewReader(&b).ReadAll()
	require.NoError(t, err)
	for i, name := range lines[0] {
		if name == "value" || name == "unit_hours" {
			require.Empty(t, lines[1][i], name)
		}
	}
}

// Engine speed (SPN 190, PGN 61444): 0x2EE0 is 1500 r/min at 0.125 r/min a bit; 0xFFFF is not available
// (SAE J1939-71).
func TestSignals(t *testing.T) {
	var rows []data.Signal
	s := data.Signals{Write: func(r []data.Signal) error { rows = append(rows, r...); return nil }}
	var d trace.Decoder
	for _, payload := range [][8]byte{{0xFF, 0xFF, 0xFF, 0xE0, 0x2E, 0xFF, 0xFF, 0xFF}, {0xFF, 0xFF, 0xFF,
		0xFF, 0xFF, 0xFF, 0xFF, 0xFF}} {
		d.Feed([]can.Frame{{Frame: einride.Frame{ID: 0x0CF00400, IsExtended: true, Length: 8, Data: payload},
			Time: clock.At(noon)}}, s.Add)
	}
	s.Flush()
	require.NoError(t, s.Err)
	var speed []data.Signal
	for _, r := range rows {
		if r.SPN == 190 {
			speed = append(speed, r)
		}
	}
	require.Len(t, speed, 2)
	require.Equal(t, 1500.0, *speed[0].Value)
	require.Equal(t, "valid", speed[0].Status)
	require.Nil(t, speed[1].Value)
	require.Equal(t, "not available", speed[1].Status)
}
