package sim

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestNew_Refuses(t *testing.T) {
	_, err := New(Options{Faults: map[string]float64{"rust": 0.5, "pump-worn": 1.5, "doser-drip": math.NaN()}})
	require.ErrorContains(t, err, `unknown fault "rust"`)
	require.ErrorContains(t, err, "membrane-split, pump-worn", "names the known ones")
	require.ErrorContains(t, err, "pump-worn has severity 1.5")
	require.ErrorContains(t, err, "doser-drip has severity NaN")
	_, err = New(Options{Faults: map[string]float64{"pump-worn": 0, "doser-drip": 1}})
	require.NoError(t, err)
}

// Every row of the bench's table of causes that is a fault of the unit or its fluid.
func TestFaultNames(t *testing.T) {
	require.ElementsMatch(t, []string{"membrane-split", "outlet-valve-leak", "inlet-valve-leak", "pump-worn",
		"motor-worn", "supply-resistance", "filter-blocked", "inlet-blocked", "suction-air", "return-fouled",
		"return-eroded", "return-check-leak", "return-check-stuck", "return-valve-stuck", "return-valve-reverse",
		"return-valve-coil", "doser-stuck-shut", "doser-stuck-open", "doser-drip", "doser-blocked", "outside-leak",
		"sensor-offset", "sensor-gain", "sensor-noisy", "sensor-supply-lost", "heater-open", "heater-protection",
		"fluid-frozen", "wrong-fluid"}, FaultNames())
	for _, name := range FaultNames() {
		require.NotEmpty(t, DescribeFault(name))
	}
	require.Empty(t, DescribeFault("rust"))
}

// cda is what a person computes from the readings: Q / sqrt(2 dp / rho), mm2.
func (m figures) cda() float64 {
	return m.flow / 60 / math.Sqrt(2*max(m.mean-0.3, 0.1)*1e5/1089)
}

// Each fault: the figure that gives it away and that grows with severity, and what it must have
// passed at 0.7: the shipped example limit where there is one.
var signs = map[string]struct {
	figure func(m figures) float64
	limit  float64
}{
	"membrane-split":       {func(m figures) float64 { return m.leak }, 1.0},
	"outlet-valve-leak":    {func(m figures) float64 { return m.leak }, 1.0},
	"inlet-valve-leak":     {func(m figures) float64 { return m.drive }, 60},
	"pump-worn":            {func(m figures) float64 { return m.drive }, 60},
	"motor-worn":           {func(m figures) float64 { return m.drive }, 60},
	"filter-blocked":       {func(m figures) float64 { return m.drive }, 60},
	"inlet-blocked":        {func(m figures) float64 { return m.drive }, 60},
	"suction-air":          {func(m figures) float64 { return m.ripple + math.Max(0, m.drive-60) }, 0.5},
	"return-fouled":        {func(m figures) float64 { return -m.cda() }, -0.055},
	"return-eroded":        {func(m figures) float64 { return m.cda() }, 0.080},
	"return-check-leak":    {func(m figures) float64 { return -m.stands }, -0.15},
	"return-check-stuck":   {func(m figures) float64 { return -m.cda() }, -0.055},
	"outside-leak":         {func(m figures) float64 { return m.leak }, 1.0},
	"return-valve-stuck":   {func(m figures) float64 { return m.below }, 0.5 + 0.5},
	"return-valve-reverse": {func(m figures) float64 { return m.drive + 9 - m.mean }, 60},
	"return-valve-coil":    {func(m figures) float64 { return m.coil }, 21},
	"doser-drip":           {func(m figures) float64 { return m.drip }, 0.2},
	"doser-stuck-open":     {func(m figures) float64 { return m.drip }, 0.2},
	"doser-stuck-shut":     {func(m figures) float64 { return -m.dose }, -0.95 * 52.4},
	"doser-blocked":        {func(m figures) float64 { return -m.dose }, -0.95 * 52.4},
	"sensor-offset":        {func(m figures) float64 { return m.unit }, 0.15},
	"sensor-gain":          {func(m figures) float64 { return m.unit }, 0.02 * 9},
	"sensor-noisy":         {func(m figures) float64 { return m.noise }, 0.05},
	"sensor-supply-lost":   {func(m figures) float64 { return -m.feed }, -4.75},
	"supply-resistance":    {func(m figures) float64 { return m.sag }, 2},
	"heater-open":          {func(m figures) float64 { return m.heater }, 4.6},
	"heater-protection":    {func(m figures) float64 { return -m.heats }, -4},
	"fluid-frozen":         {func(m figures) float64 { return m.prime + m.amps }, 40},
	"wrong-fluid":          {func(m figures) float64 { return -m.dose }, -0.985 * 52.4},
}

func TestFaults_ShowAndGrow(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds: make test runs it")
	}
	healthy := newDriver(t, 5, nil).release()
	for _, name := range FaultNames() {
		t.Run(name, func(t *testing.T) {
			sign := signs[name]
			last := sign.figure(healthy)
			require.Less(t, last, sign.limit, "healthy")
			for _, severity := range []float64{0.3, 0.7} {
				d := newDriver(t, 5, map[string]float64{name: severity})
				m := d.release()
				v := sign.figure(m)
				t.Logf("severity %.1f: %.3f (limit %g) %+v lost %.1f g", severity, v, sign.limit, m, d.Truth().Lost)
				require.Greater(t, v, last, "grows with severity")
				if severity > 0.5 {
					require.Greater(t, v, sign.limit, "broken")
				}
				last = v
			}
		})
	}
}

// What tells the leaks apart: where the liquid goes.
func TestFaults_WhereLeaksGo(t *testing.T) {
	run := func(name string) (figures, Truth) {
		d := newDriver(t, 6, map[string]float64{name: 0.6})
		return d.release(), d.Truth()
	}
	split, s := run("membrane-split")
	require.Zero(t, s.Lost)
	require.InDelta(t, 0, split.drip, 0.1, "nothing on the scale")
	require.InDelta(t, 9.1, s.Leak, 0.3)
	drip, d := run("doser-drip")
	require.Zero(t, d.Lost)
	require.InDelta(t, 1.7, drip.drip, 0.2, "1.8 g/min at 9 bar, and the pressure falls by it")
	out, o := run("outside-leak")
	require.Greater(t, o.Lost, 10.0, "g on the floor")
	require.InDelta(t, 0, out.drip, 0.1)
}

// Air drawn in: soft compliance, short dosing, more drive; a worn pump has none of the first two.
func TestFaults_AirAgainstWear(t *testing.T) {
	run := func(faults map[string]float64) figures { return newDriver(t, 7, faults).release() }
	healthy := run(nil)
	air, worn := run(map[string]float64{"suction-air": 0.6}), run(map[string]float64{"pump-worn": 0.6})
	require.Greater(t, air.compliance, 1.1*healthy.compliance)
	require.InEpsilon(t, healthy.compliance, worn.compliance, 0.02)
	require.Less(t, air.dose, 0.97*healthy.dose)
	require.InEpsilon(t, healthy.dose, worn.dose, 0.01)
	require.Greater(t, air.drive, healthy.drive+5)
}

// Faults combine: each still shows.
func TestFaults_Combine(t *testing.T) {
	d := newDriver(t, 8, map[string]float64{"doser-drip": 0.5, "sensor-offset": 0.5, "return-fouled": 0.5})
	m := d.release()
	require.InDelta(t, 1.5, m.drip, 0.2)
	require.InDelta(t, 0.5, m.unit, 0.1)
	require.Less(t, m.cda(), 0.055)
}

// The sensor's supply: a sagging one reads low in proportion, a low one pins the reading, a lost one is an
// open wire. Ratiometric at 5 V: 0.5..4.5 V for 0..14 bar absolute.
func TestFaults_SensorSupply(t *testing.T) {
	for _, c := range []struct {
		severity float64
		check    func(m figures, d *driver)
	}{
		{0.2, func(m figures, _ *driver) { require.InDelta(t, 10*0.8+1.75*(0.8-1)-10, m.unit, 0.15) }},
		{0.5, func(m figures, d *driver) { require.Zero(t, d.see.unitRaw, "below 0 bar absolute: held at 0") }},
		{0.7, func(m figures, d *driver) { require.EqualValues(t, 0xFE, d.see.unitRaw>>8, "error indicator") }},
		{1, func(m figures, d *driver) { require.InDelta(t, 0, m.feed, 0.02) }},
	} {
		d := newDriver(t, 9, map[string]float64{"sensor-supply-lost": c.severity})
		c.check(d.release(), d)
	}
}

// A stuck valve: no emptying at 1, and the coil draws its current all the same.
func TestFaults_ValveStuck(t *testing.T) {
	d := newDriver(t, 10, map[string]float64{"return-valve-stuck": 1})
	m := d.release()
	require.Greater(t, m.residual, 30.0)
	d.out = outputs{valve: 1}
	d.run(200e6)
	require.InDelta(t, 24/18.0, d.see.valve, 0.1)
}

func TestBench_UnitPowerOff(t *testing.T) {
	d := newDriver(t, 1, nil)
	d.out.off, d.out.drive = 1, 60
	d.run(2e9)
	require.EqualValues(t, 0xFFFF, d.see.unitRaw, "not available")
	require.InDelta(t, 0, d.see.speed, 5)
	require.InDelta(t, 0, d.see.unitVolt, 0.05)
}

// The bench that hears nothing more is depressurised by its own time-out.
func TestBench_SilenceRelieves(t *testing.T) {
	d := newDriver(t, 1, nil)
	d.out.drive = 60
	d.until(40e9, func() bool { return d.gauge() >= 2 })
	d.regulate(9, 5e9)
	d.out.shutoff = 1
	d.run(100e6)
	for range 600 { // 12 s without a command
		d.now = d.now.Add(20e6)
		for _, f := range d.Step(d.now, nil, nil) {
			d.see.take(f)
		}
	}
	require.Zero(t, d.see.states>>6, "outputs not enabled")
	require.Zero(t, d.see.states>>4&3, "return open again")
	require.Less(t, d.gauge(), 0.5, "down to the check valve's opening")
}

func TestBench_EmergencyStop(t *testing.T) {
	d := newDriver(t, 1, nil)
	d.out.drive = 60
	d.run(2e9)
	d.PressEmergencyStop(true)
	d.OpenGuard(true)
	d.run(1e9)
	require.EqualValues(t, 1, d.see.states&3, "pressed")
	require.Zero(t, d.see.states>>2&3, "guard open")
	require.InDelta(t, 0, d.see.speed, 5, "stopped, though commanded")
}
