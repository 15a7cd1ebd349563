package data_test

import (
	"bytes"
	"encoding/csv"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/require"

	"holdfast/bench/data"
	"holdfast/bench/watch"
)

func watched() *watch.Summary {
	share, off := 97.5, noon.Add(time.Hour)
	last := noon.Add(59 * time.Minute)
	drive := watch.Finding{Check: "pump drive over time", Level: watch.Watch, Seen: "+8.0 % of drive over 9.9 h"}
	return &watch.Summary{Units: []watch.UnitReport{{Bank: 1, Source: 61, Findings: []watch.Finding{drive}}}, Name: "truck-7.pcapng", Vehicle: "TEST0000000000007", First: noon, Last: off, Frames: 9,
		Trips: []watch.TripLine{
			{Number: 1, Start: noon, End: off, KeyOff: &off, EndedBy: "the bus went silent", Running: 3540, Distance: 41.5, Engine: true, Wheels: true,
				Level:    watch.Act,
				Findings: []watch.Finding{{Check: "DEF tank", Level: watch.Watch, Seen: "level 5 to 9 %"}},
				Units: []watch.UnitReport{{Bank: 1, Source: 61, Heard: 3500, InBand: &share, PurgesNeeded: 1, PurgesCut: 1,
					PrimeTime: &watch.Spread{N: 2, Min: 6, Mean: 8, Max: 10},
					Findings:  []watch.Finding{{Check: "after-run purge", Level: watch.Act, Times: 1, When: []time.Time{last}, Last: &last}}}}},
			{Number: 2, Start: off, End: off, Findings: []watch.Finding{{Check: "bus", Level: watch.OK}}},
		}}
}

// One row a trip and unit, one a finding; what was not seen is NULL; the same in both forms.
func TestTrips_BothForms(t *testing.T) {
	trips, findings := data.Trips(watched())
	require.Len(t, trips, 2)
	require.Len(t, findings, 4)
	require.Equal(t, "pump drive over time", findings[3].Check)
	require.Zero(t, findings[3].Trip, "over all trips")
	var file bytes.Buffer
	table, err := data.NewTable[data.Trip](&file, data.Parquet)
	require.NoError(t, err)
	require.NoError(t, table.Write(trips))
	require.NoError(t, table.Close())
	back, err := parquet.Read[data.Trip](bytes.NewReader(file.Bytes()), int64(file.Len()))
	require.NoError(t, err)
	require.Equal(t, trips, back)
	require.Equal(t, "act", back[0].Level)
	require.Equal(t, 10.0, *back[0].PrimeMax)
	require.EqualValues(t, 1, *back[0].PurgesCut)
	require.Nil(t, back[0].Drive, "no drive was seen")
	require.Nil(t, back[1].Bank, "no unit was heard")
	require.Nil(t, back[1].KeyOff)
	require.Equal(t, 3540.0, *back[0].Running)
	require.Nil(t, back[1].Running, "no engine speed was heard: not 0 s")
	require.Equal(t, noon.UnixMicro(), back[0].Start)

	file.Reset()
	other, err := data.NewTable[data.TripFinding](&file, data.Parquet)
	require.NoError(t, err)
	require.NoError(t, other.Write(findings))
	require.NoError(t, other.Close())
	found, err := parquet.Read[data.TripFinding](bytes.NewReader(file.Bytes()), int64(file.Len()))
	require.NoError(t, err)
	require.Equal(t, findings, found)
	require.EqualValues(t, 3, found[0].Rank)
	require.EqualValues(t, 0, found[1].Bank, "the vehicle's")
	require.Nil(t, found[1].Source)

	var text bytes.Buffer
	lines, err := data.NewTable[data.Trip](&text, data.CSV)
	require.NoError(t, err)
	require.NoError(t, lines.Write(trips))
	require.NoError(t, lines.Close())
	read, err := csv.NewReader(&text).ReadAll()
	require.NoError(t, err)
	require.Len(t, read, 3)
	for i, name := range read[0] {
		if name == "key_off" {
			require.Equal(t, noon.Add(time.Hour).Format("2006-01-02T15:04:05.000000Z"), read[1][i], "a time and no number")
			require.Empty(t, read[2][i])
		}
	}
}

// Every number says its unit in its name, or is a count or a place.
func TestTrips_UnitsInNames(t *testing.T) {
	kind := reflect.TypeFor[data.Trip]()
	for f := range kind.Fields() {
		name, options, _ := strings.Cut(f.Tag.Get("parquet"), ",")
		if f.Type == reflect.TypeFor[float64]() || f.Type == reflect.TypeFor[*float64]() {
			require.Regexp(t, `_(s|g|km|bar|percent)$`, name, options)
		}
	}
}
