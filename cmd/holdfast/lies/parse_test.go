package lies

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/rig/rigfile"
	"holdfast/scenarios"
	"holdfast/sim/lie"
)

func tableOf(t testing.TB, name string) []lie.Signal {
	t.Helper()
	text, shown, err := scenarios.ReadRig(name)
	require.NoError(t, err)
	r, err := rigfile.Parse(shown, text, scenarios.ReadDBC)
	require.NoError(t, err)
	return Table(r)
}

// Every channel and command of both shipped rigs can lie, and an absolute pressure by the catalogue has its unit.
func TestTable(t *testing.T) {
	bare, own := tableOf(t, "bench-node"), tableOf(t, "unit-controller")
	require.Len(t, bare, 26)
	pressure := find(own, "line_pressure")
	require.NotNil(t, pressure)
	require.InDelta(t, 0.08, pressure.Scale, 1e-12, "8 kPa per bit")
	require.InDelta(t, 1.01325, pressure.Zero, 1e-12)
	tank := find(own, "tank_temperature")
	require.InDelta(t, -40, tank.Offset, 1e-12, "SPN 3031: 1 degC per bit from -40")
	for _, table := range [][]lie.Signal{bare, own} {
		for _, s := range table {
			require.Greater(t, s.Full, 0.0, s.Name)
		}
	}
}

func TestParse(t *testing.T) {
	table := tableOf(t, "bench-node")
	for text, want := range map[string]lie.Lie{
		"line_pressure=stuck@120s..130s":               {From: 120 * time.Second, To: 130 * time.Second},
		"line_pressure=stuck:9 bar":                    {Size: 9, Sized: true},
		"return_flow=gain:-15 %@2 min..":               {Size: -15, Sized: true, From: 2 * time.Minute},
		"fluid_temperature=offset:3 K":                 {Size: 3, Sized: true},
		"scale_mass=drift:0.3 g/min@1 s":               {Size: 0.3, Sized: true, From: time.Second},
		"pump_speed=lagging:500 ms":                    {Span: 500 * time.Millisecond, Sized: true},
		"reference_pressure=offset:20 kPa":             {Size: 0.2, Sized: true},
		"reference_pressure=dropped":                   {Size: 100},
		"return_shutoff_state=stuck:0":                 {Sized: true},
		"set_pump_drive=floored:20 %":                  {Size: 20, Sized: true},
		"line_pressure=swapped:reference_pressure@5 s": {Sized: true, From: 5 * time.Second},
	} {
		all, err := Parse(table, text)
		require.NoError(t, err, text)
		require.Len(t, all, 1)
		got := all[0]
		require.Equal(t, text, got.Text)
		require.Equal(t, want, lie.Lie{Size: got.Size, Sized: got.Sized, Span: got.Span, From: got.From, To: got.To}, text)
	}
	for _, d := range disobediences {
		all, err := Parse(table, d.name+"@10 s..20 s")
		require.NoError(t, err, d.name)
		require.Len(t, all, len(d.lies))
		require.Equal(t, 20*time.Second, all[0].To)
	}
}

func TestParse_Refuses(t *testing.T) {
	table := tableOf(t, "bench-node")
	for text, want := range map[string]string{
		"gauge=stuck":                   "no channel or command",
		"line_pressure":                 "CHANNEL=KIND",
		"line_pressure=wobbles":         "no kind of lie",
		"line_pressure=offset":          "needs a size: line_pressure=offset:0.1 bar",
		"line_pressure=offset:1":        "which unit?",
		"line_pressure=offset:1 g":      "is a unit of mass",
		"line_pressure=reversed:1 bar":  "has no size",
		"line_pressure=stuck@9s..5s":    "the earlier first",
		"line_pressure=stuck@now":       "now",
		"line_pressure=late:-1 s":       "above 0",
		"line_pressure=quantised:0 bar": "above 0",
		"line_pressure=swapped:nothing": "no other channel",
		"return_shutoff_state=stuck:x":  "is not a state",
	} {
		_, err := Parse(table, text)
		require.ErrorContains(t, err, want, text)
	}
}

func FuzzParse(f *testing.F) {
	f.Add("line_pressure=stuck:9 bar@120s..130s")
	f.Add("pump-not-off@1 min..")
	f.Add("return_flow=swapped:pump_speed")
	table := tableOf(f, "bench-node")
	f.Fuzz(func(t *testing.T, text string) {
		all, err := Parse(table, text)
		if err != nil {
			return
		}
		for _, l := range all {
			if l.Signal == nil || l.Kind == nil || l.From < 0 || l.Span < 0 {
				t.Fatalf("%q gives %+v", text, l)
			}
		}
	})
}
