package history_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/history"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/watch"
)

func figure(t *testing.T, all []history.Figure, name string) history.Figure {
	t.Helper()
	for _, f := range all {
		if f.Name == name {
			return f
		}
	}
	t.Fatalf("no figure %q", name)
	return history.Figure{}
}

// What an occasion did not show is said with why, and is never a number.
func TestThrough_Missing(t *testing.T) {
	silent := &watch.Summary{Findings: []watch.Finding{{Check: "fault codes", Seen: "no fault list (DM1 or DM2) was heard"}},
		Units: []watch.UnitReport{{Bank: 2, Findings: []watch.Finding{{Check: watch.CheckDrive, Seen: "pump drive (SPN 4375) is not on this bus as a number"}}}}}
	all := history.Through(history.Occasions{VehicleBefore: silent, BenchAfter: &judge.Result{Lines: []judge.Line{
		{Characteristic: measure.Characteristic{Name: "hold_drive"}}}}})
	for _, f := range all {
		for i := range f.Cells {
			require.False(t, f.Cells[i].Known(), "%s %d", f.Name, i)
			require.NotEmpty(t, f.Cells[i].Why, "%s %d", f.Name, i)
		}
	}
	require.Contains(t, figure(t, all, "pump drive at pressure").Cells[0].Why, "SPN 4375")
	require.Contains(t, figure(t, all, "pump drive at pressure").Cells[2].Why, "not measured")
	require.Contains(t, figure(t, all, "fault codes").Cells[0].Why, "no fault list")
	require.Equal(t, "not looked at", figure(t, all, "fault codes").Cells[3].Why)
	other := history.Through(history.Occasions{VehicleAfter: silent, Bank: 1})
	require.Contains(t, figure(t, other, "prime time").Cells[3].Why, "no such unit")
}

// Each column comes from its own occasion; of several set points the worst stands for the bench.
func TestThrough_Columns(t *testing.T) {
	vehicle := func(drive float64, cut int) *watch.Summary {
		return &watch.Summary{Units: []watch.UnitReport{{Bank: 1, Drive: &watch.Drive{Percent: drive, U: 3},
			PurgesNeeded: 2, PurgesCompleted: 2 - cut, PurgesCut: cut}},
			Faults: []watch.FaultLine{{SPN: 4334, FMI: 18, Ours: true, Active: cut > 0}, {SPN: 100, FMI: 1, Active: true}}}
	}
	bench := func(drive, low, high float64) *judge.Result {
		return &judge.Result{Lines: []judge.Line{line("hold_drive", drive, 4), line("dosing_error", low, 0.1),
			line("dosing_error", high, 0.2)}}
	}
	all := history.Through(history.Occasions{VehicleBefore: vehicle(60, 1), BenchBefore: bench(61, -6, 2),
		BenchAfter: bench(55, 0.5, -0.4), VehicleAfter: vehicle(55.7, 0)})
	drive := figure(t, all, "pump drive at pressure")
	for i, want := range []float64{60, 61, 55, 55.7} {
		require.Equal(t, want, *drive.Cells[i].Value)
	}
	require.True(t, history.Moved(&drive.Cells[0], &drive.Cells[3]), "4.3 is more than hypot(3, 3) = 4.24")
	require.True(t, history.Moved(&drive.Cells[1], &drive.Cells[2]), "6 is more than hypot(4, 4) = 5.66")
	require.False(t, history.Moved(&drive.Cells[0], &drive.Cells[1]))
	error := figure(t, all, "dosed against wanted")
	require.Equal(t, -6.0, *error.Cells[1].Value)
	require.Equal(t, 0.5, *error.Cells[2].Value)
	purge := figure(t, all, "purge after use")
	require.Equal(t, "1 of 2 completed, 1 CUT SHORT", purge.Cells[0].Words)
	require.Equal(t, "2 of 2 completed", purge.Cells[3].Words)
	faults := figure(t, all, "fault codes")
	require.Equal(t, "4334/18", faults.Cells[0].Words, "of the aftertreatment alone")
	require.Equal(t, "none", faults.Cells[3].Words)
}
