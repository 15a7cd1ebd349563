package data

import (
	"time"

	"holdfast/bench/watch"
)

// Trip is one trip of one supply unit of one vehicle. Where no unit was heard there is one row all the same,
// and all that is a unit's is NULL. The unit of a number is the tail of its name.
type Trip struct {
	Recording string   `parquet:"recording,dict"`
	Vehicle   string   `parquet:"vehicle,dict"` // identification number; "": not heard
	Trip      int32    `parquet:"trip"`
	Start     int64    `parquet:"start,timestamp(microsecond)"`
	End       int64    `parquet:"end,timestamp(microsecond)"`
	KeyOff    *int64   `parquet:"key_off,optional,timestamp(microsecond)"`
	EndedBy   string   `parquet:"ended_by,dict"`
	Running   *float64 `parquet:"engine_running_s,optional"`
	Distance  *float64 `parquet:"distance_km,optional"`
	Level     string   `parquet:"level,dict"` // not seen, ok, watch, act: of this unit and the vehicle in this trip

	Bank            *int32   `parquet:"bank,optional"`
	Source          *int32   `parquet:"source,optional"`
	Heard           *float64 `parquet:"heard_s,optional"`
	PrimeAttempts   *int32   `parquet:"prime_attempts,optional"`
	PrimeFailed     *int32   `parquet:"prime_failed,optional"`
	PrimeMean       *float64 `parquet:"prime_time_mean_s,optional"`
	PrimeMax        *float64 `parquet:"prime_time_max_s,optional"`
	BuildUpMean     *float64 `parquet:"build_up_time_mean_s,optional"`
	BuildUpMax      *float64 `parquet:"build_up_time_max_s,optional"`
	Dosing          *float64 `parquet:"dosing_time_s,optional"`
	InBand          *float64 `parquet:"in_band_percent,optional"`
	PressureMin     *float64 `parquet:"pressure_while_dosing_min_bar,optional"`
	PressureMean    *float64 `parquet:"pressure_while_dosing_mean_bar,optional"`
	PressureMax     *float64 `parquet:"pressure_while_dosing_max_bar,optional"`
	Dosed           *float64 `parquet:"dosed_g,optional"`
	Requested       *float64 `parquet:"requested_g,optional"`
	Integrated      *float64 `parquet:"integrated_g,optional"`
	Drive           *float64 `parquet:"drive_at_nominal_percent,optional"` // brought to no dosing
	DriveU          *float64 `parquet:"drive_at_nominal_u_percent,optional"`
	DriveChange     *float64 `parquet:"drive_change_percent,optional"` // over the trip
	DriveChangeU    *float64 `parquet:"drive_change_u_percent,optional"`
	Conversion      *float64 `parquet:"nox_conversion_percent,optional"`
	PurgesNeeded    *int32   `parquet:"purges_needed,optional"`
	PurgesCompleted *int32   `parquet:"purges_completed,optional"`
	PurgesCut       *int32   `parquet:"purges_cut_short,optional"`
	PurgesUnknown   *int32   `parquet:"purges_unknown,optional"`
	PurgesRestarted *int32   `parquet:"purges_given_up_for_a_restart,optional"`
	PurgeMax        *float64 `parquet:"purge_time_max_s,optional"`
	Dropouts        *int32   `parquet:"pressure_dropouts,optional"`
}

// TripFinding is the answer to one question about one unit, or about the vehicle, in one trip. Answers of
// every level are rows: "not seen" tells what is not on that vehicle's bus. Of a recording of several trips
// there are rows of trip 0, too: the answers over all of them, which alone tell a trend.
type TripFinding struct {
	Recording string `parquet:"recording,dict"`
	Vehicle   string `parquet:"vehicle,dict"`
	Trip      int32  `parquet:"trip"` // 0: all
	Start     int64  `parquet:"start,timestamp(microsecond)"`
	Bank      int32  `parquet:"bank"` // 0: the vehicle
	Source    *int32 `parquet:"source,optional"`
	Check     string `parquet:"check,dict"`
	Level     string `parquet:"level,dict"`
	Rank      int32  `parquet:"level_rank"` // 0 not seen, 1 ok, 2 watch, 3 act
	Times     int32  `parquet:"times"`
	First     *int64 `parquet:"first,optional,timestamp(microsecond)"`
	Last      *int64 `parquet:"last,optional,timestamp(microsecond)"`
	Seen      string `parquet:"seen"`
	LookAt    string `parquet:"look_at,dict"`
	Sure      string `parquet:"how_sure,dict"`
}

// Trips returns the rows of a watch: trips, and their findings.
func Trips(s *watch.Summary) (trips []Trip, findings []TripFinding) {
	for i := range s.Trips {
		t := &s.Trips[i]
		like := Trip{Recording: s.Name, Vehicle: s.Vehicle, Trip: int32(t.Number), Start: t.Start.UnixMicro(),
			End: t.End.UnixMicro(), EndedBy: string(t.EndedBy), Level: t.Level.String()}
		if t.Engine {
			like.Running = finite(t.Running)
		}
		if t.Wheels {
			like.Distance = finite(t.Distance)
		}
		if t.KeyOff != nil {
			like.KeyOff = moment(*t.KeyOff)
		}
		if len(t.Units) == 0 {
			trips = append(trips, like)
		}
		for k := range t.Units {
			u := &t.Units[k]
			row := like
			row.Level = t.LevelOf(u).String()
			row.unit(u)
			trips = append(trips, row)
			findings = appendFindings(findings, s, t, u.Findings, int32(u.Bank), row.Source)
		}
		findings = appendFindings(findings, s, t, t.Findings, 0, nil)
	}
	if len(s.Trips) > 1 {
		all := &watch.TripLine{Start: s.First}
		for i := range s.Units {
			u := &s.Units[i]
			findings = appendFindings(findings, s, all, u.Findings, int32(u.Bank), count(int(u.Source)))
		}
		findings = appendFindings(findings, s, all, s.Findings, 0, nil)
	}
	return trips, findings
}

func (row *Trip) unit(u *watch.UnitReport) {
	row.Bank, row.Source, row.Heard = count(int(u.Bank)), count(int(u.Source)), finite(u.Heard)
	row.PrimeAttempts, row.PrimeFailed = count(u.PrimeAttempts), count(u.PrimeFailed)
	_, row.PrimeMean, row.PrimeMax = ofSpread(u.PrimeTime)
	_, row.BuildUpMean, row.BuildUpMax = ofSpread(u.BuildUpTime)
	row.Dosing, row.InBand = finite(u.DosingTime), u.InBand
	row.PressureMin, row.PressureMean, row.PressureMax = ofSpread(u.PressureDosing)
	row.Dosed, row.Requested, row.Integrated = u.Dosed, u.Requested, u.Integrated
	if d := u.Drive; d != nil {
		row.Drive, row.DriveU = finite(d.Percent), finite(d.U)
		row.DriveChange, row.DriveChangeU = finite(d.Change), finite(d.ChangeU)
	}
	row.Conversion = u.Conversion
	row.PurgesNeeded, row.PurgesCompleted = count(u.PurgesNeeded), count(u.PurgesCompleted)
	row.PurgesCut, row.PurgesUnknown = count(u.PurgesCut), count(u.PurgesUnknown)
	row.PurgesRestarted, row.Dropouts = count(u.PurgesRestarted), count(u.Dropouts)
	_, _, row.PurgeMax = ofSpread(u.PurgeTime)
}

func appendFindings(rows []TripFinding, s *watch.Summary, t *watch.TripLine, list []watch.Finding, bank int32,
	source *int32) []TripFinding {
	for _, f := range list {
		row := TripFinding{Recording: s.Name, Vehicle: s.Vehicle, Trip: int32(t.Number), Start: t.Start.UnixMicro(),
			Bank: bank, Source: source, Check: f.Check, Level: f.Level.String(), Rank: int32(f.Level),
			Times: int32(f.Times), Seen: f.Seen, LookAt: f.Look, Sure: f.Sure}
		if len(f.When) > 0 {
			row.First = moment(f.When[0])
		}
		if f.Last != nil {
			row.Last = moment(*f.Last)
		}
		rows = append(rows, row)
	}
	return rows
}

func count(n int) *int32 {
	v := int32(n)
	return &v
}

func moment(t time.Time) *int64 {
	v := t.UnixMicro()
	return &v
}

func ofSpread(s *watch.Spread) (low, mean, high *float64) {
	if s == nil {
		return nil, nil, nil
	}
	return finite(s.Min), finite(s.Mean), finite(s.Max)
}
