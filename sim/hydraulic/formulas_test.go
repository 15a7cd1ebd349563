package hydraulic

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// Own table of Q = Cd A sqrt(2 dp/rho), Cd 0.62, 1090 kg/m3, computed with a general-purpose
// library (scipy): mL/min at 5, 9 and 10 bar.
func TestOrifice_Table(t *testing.T) {
	for _, c := range []struct{ mm, at5, at9, at10 float64 }{
		{0.20, 35.398, 47.4915, 50.060}, {0.30, 79.646, 106.8559, 112.636},
		{0.50, 221.238, 296.8218, 312.878}, {1.00, 884.952, 1187.287, 1251.511},
	} {
		cda := 0.62 * math.Pi / 4 * c.mm * c.mm * MM2
		require.InEpsilon(t, c.at5, Orifice(cda, 5*Bar, 1090)/MLPerMin, 1e-5)
		require.InEpsilon(t, c.at9, Orifice(cda, 9*Bar, 1090)/MLPerMin, 1e-5)
		require.InEpsilon(t, c.at10, Orifice(cda, 10*Bar, 1090)/MLPerMin, 1e-5)
	}
	// 30 L/h at 9 bar wants CdA 0.2050670 mm2; ideal jet 40.637 m/s at 9 bar.
	require.InEpsilon(t, 500.0, Orifice(0.2050670*MM2, 9*Bar, 1090)/MLPerMin, 1e-6)
	require.InEpsilon(t, 40.637, Orifice(1, 9*Bar, 1090), 1e-5)
}

// Ex 3.2 of a published orifice chapter: 261 lb/min of water through 1 in2 under 4 ft: Cd 0.625.
func TestOrifice_Textbook(t *testing.T) {
	const lb, inch, ft, g = 0.45359237, 0.0254, 0.3048, 32.2 * 0.3048
	rho := 62.4 * lb / (ft * ft * ft)
	ideal := Orifice(inch*inch, rho*g*4*ft, rho)
	require.InDelta(t, 0.625, 261*lb/60/rho/ideal, 1e-3)
}

// Aussillous & Quere 2000 at 1.24 mPa s and 73 mN/m: 3.61 % of a tube at 0.1 m/s, 9.55 % at
// 0.5, 13.97 % at 1.
func TestFilmFraction_Worked(t *testing.T) {
	for v, want := range map[float64]float64{0.1: 0.0361, 0.5: 0.0955, 1.0: 0.1397} {
		require.InDelta(t, want, FilmFraction(v, 1.24e-3, 0.073), 6e-5, "at %g m/s", v)
	}
}

func TestParameters_Validate(t *testing.T) {
	require.NoError(t, Reference().Validate())
	p := Reference()
	p.ReturnCdA, p.DoseLost = -1, math.NaN()
	err := p.Validate()
	require.ErrorContains(t, err, "return CdA")
	require.ErrorContains(t, err, "time lost per opening")
}

// The reference unit in the words of its design: 106 g/min at 9 bar through the open dosing
// valve, about 160 mL/min through the return, a leak of 0.1 mL/min.
func TestReference_Figures(t *testing.T) {
	p := Reference()
	require.InDelta(t, 106, Orifice(p.DoseCdA, 9*Bar, 1090)*1090*60e3, 0.5)
	require.InDelta(t, 160, Orifice(p.ReturnCdA, 8.7*Bar, 1089)/MLPerMin, 3)
	require.InDelta(t, 0.1, p.LaminarLeak*9*Bar/MLPerMin, 1e-9)
}
