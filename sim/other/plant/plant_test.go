package plant

import (
	"math/rand/v2"
	"reflect"
	"testing"

	"github.com/stretchr/testify/require"
)

// bench is a small controller of this test's own: proportional and integral on the true pressure, every 20
// ms.
type bench struct {
	w   *World
	sum float64
}

func (b *bench) hold(t *testing.T, o Outputs, seconds float64) {
	t.Helper()
	for end := b.w.T + seconds; b.w.T < end-1e-6; {
		wrong := b.w.NominalGauge/bar - b.w.Probe().Pressure
		b.sum = max(0, min(0.8, b.sum+0.03*wrong*0.02))
		o.Drive = max(0, min(0.8, b.sum+0.06*wrong))
		b.w.Set(o)
		require.NoError(t, b.w.Advance(b.w.T+0.02))
	}
}

func (b *bench) wait(t *testing.T, o Outputs, seconds float64) {
	t.Helper()
	b.w.Set(o)
	for end := b.w.T + seconds; b.w.T < end-1e-6; {
		require.NoError(t, b.w.Advance(b.w.T+0.02))
	}
}

// prime pumps until the true pressure is at 2 bar and returns how long that took.
func (b *bench) prime(t *testing.T, drive float64) float64 {
	t.Helper()
	start := b.w.T
	b.w.Set(Outputs{Power: true, Drive: drive})
	for b.w.Probe().Pressure < 2 && b.w.T < start+60 {
		require.NoError(t, b.w.Advance(b.w.T+0.02))
	}
	return b.w.T - start
}

func middle(t *testing.T, kind string) *bench {
	t.Helper()
	p, err := Kind(kind)
	require.NoError(t, err)
	return &bench{w: New(p, Fluid{}, Whole(), 1)}
}

// TestHealthy: what the bench's description says of its reference unit is what this plant does, within the
// roundness of those figures, and each of the other types does the like at its own pressure.
func TestHealthy(t *testing.T) {
	for _, kind := range Kinds() {
		t.Run(kind, func(t *testing.T) {
			b := middle(t, kind)
			w := b.w
			nominal := w.NominalGauge / bar
			require.InDelta(t, 20, b.prime(t, 0.6), 10, "prime, s")
			b.hold(t, Outputs{Power: true}, 30)
			require.InDelta(t, nominal, w.Probe().Pressure, 0.03*nominal)
			require.InDelta(t, 0.45, w.Out.Drive, 0.06, "drive at nominal pressure")
			require.Less(t, w.ComplianceAt(nominal, 5, w.Probe().LineGas, nominal), 1.4)
			b.hold(t, Outputs{Power: true, Duty: 0.8}, 15)
			require.InDelta(t, nominal, w.Probe().Pressure, 0.05*nominal, "while dosing")
			b.hold(t, Outputs{Power: true}, 5)
			b.wait(t, Outputs{Power: true, Drive: 0.6, Return: true, Duty: 0.2}, 45)
			left := w.Probe().LineFluid / (w.LineVolume / mL)
			require.True(t, left > 0.02 && left < 0.1, "left in the line after a purge: %.3f of its volume", left)
			require.Less(t, b.prime(t, 0.6), 20.0, "filled again, s")
		})
	}
	b := middle(t, "reference")
	b.prime(t, 0.6)
	b.hold(t, Outputs{Power: true}, 40)
	w, q := b.w, b.w.Probe()
	require.InDelta(t, 160, q.Back, 8, "mL/min back at 9 bar")
	require.InDelta(t, 1500, q.Revolution, 150)
	require.InDelta(t, 0.066, w.Restriction(q.Back, q.Pressure, q.LineCelsius), 0.003)
	require.InDelta(t, 0.1, w.LeakAt(9, 20), 0.02)
	require.InDelta(t, 0.4, w.ComplianceAt(9, 5, q.LineGas, q.Pressure), 0.08)
}

// TestParams: every number has a unit, a range that it keeps, a spread and a source.
func TestParams(t *testing.T) {
	for _, kind := range Kinds() {
		p, err := Kind(kind)
		require.NoError(t, err)
		v := reflect.ValueOf(p)
		for i := range v.NumField() {
			f := v.Type().Field(i)
			require.NotEmpty(t, f.Tag.Get("unit"), f.Name)
			require.NotEmpty(t, f.Tag.Get("from"), f.Name)
			lo, hi, err := Range(f.Tag)
			require.NoError(t, err, f.Name)
			require.True(t, v.Field(i).Float() >= lo && v.Field(i).Float() <= hi, "%s %s = %g", kind, f.Name,
				v.Field(i).Float())
		}
		for seed := range uint64(50) {
			_, err := Drawn(kind, rand.New(rand.NewPCG(seed, 1)))
			require.NoError(t, err)
		}
	}
}

// BenchmarkHold is one second of a reference unit at nominal pressure.
func BenchmarkHold(b *testing.B) {
	p := reference()
	c := &bench{w: New(p, Fluid{}, Whole(), 1)}
	c.w.Set(Outputs{Power: true, Drive: 0.42})
	_ = c.w.Advance(40)
	b.ResetTimer()
	for b.Loop() {
		for range 100 {
			_ = c.w.Advance(c.w.T + 0.01)
		}
	}
	b.ReportMetric(float64(c.w.Steps())/(c.w.T-40), "steps/s")
}
