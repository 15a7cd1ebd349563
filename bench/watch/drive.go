package watch

import (
	"math"
	"time"

	"gonum.org/v1/gonum/mat"

	"holdfast/j1939/clock"
	"holdfast/j1939/spn"
)

// Bins of the drive at nominal pressure.
const (
	binFirst  = time.Minute
	binEnough = 0.5  // of a bin's seconds must be usable
	binsMax   = 2048 // then two become one and the width doubles: memory stays bounded however long it takes
	settleFor = 5 * time.Second
)

// holdState follows how long the pressure has been in its band.
type holdState struct{ since clock.Instant }

// bin is the mean of some time at nominal pressure.
type bin struct {
	at         float64 // h since the first
	drive      float64 // %, at the system's nominal voltage
	dose       float64 // kg/h
	voltsKnown bool
}

type driveBins struct {
	list     []bin
	width    time.Duration
	first    clock.Instant
	open     bin
	openFrom clock.Instant
	n        float64
	volts    float64
	levels   spread // drive of single seconds, not normalised
}

// holdSample takes a second at nominal pressure. The pump's drive is a share of the supply, so a lower
// voltage needs more of it: it is brought to 24 V or 12 V where the voltage is heard.
func (u *unit) holdSample(t clock.Instant) {
	off := u.gauge - u.w.options.Nominal
	steady := u.gaugeOK && math.Abs(off) <= u.w.options.Band && u.driveOK && u.drive >= pumpRuns &&
		!u.energised()
	if !steady {
		u.holds.since = 0
		return
	}
	if u.holds.since == 0 {
		u.holds.since = t
	}
	if t.Sub(u.holds.since) < settleFor {
		return
	}
	drive, volts := u.drive, 0.0
	if c := &u.w.now[0][Supply]; c.fresh(t, clock.Instant(freshFor)) && c.status == spn.Valid && c.value > 5 {
		volts = c.value
		drive *= volts / systemVoltage(volts)
	}
	dose := 0.0
	if u.doseOK {
		dose = u.dose / 1000
	}
	for _, a := range u.accounts() {
		a.bins.levels.add(u.drive)
		a.bins.add(t, drive, dose, volts > 0)
	}
}

func (b *driveBins) add(t clock.Instant, drive, dose float64, volts bool) {
	if b.width == 0 {
		b.width, b.first, b.openFrom = binFirst, t, t
	}
	if t.Sub(b.openFrom) >= b.width {
		b.flush()
		b.openFrom = t
	}
	b.n++
	b.open.at += t.Sub(b.first).Hours()
	b.open.drive += drive
	b.open.dose += dose
	if volts {
		b.volts++
	}
}

// flush closes the open bin and keeps it if there is enough in it.
func (b *driveBins) flush() {
	if b.n >= binEnough*b.width.Seconds() {
		b.list = append(b.list, bin{b.open.at / b.n, b.open.drive / b.n, b.open.dose / b.n, b.volts == b.n})
		if len(b.list) >= binsMax {
			b.halve()
		}
	}
	b.open, b.n, b.volts = bin{}, 0, 0
}

func (b *driveBins) halve() {
	for i := range len(b.list) / 2 {
		x, y := b.list[2*i], b.list[2*i+1]
		b.list[i] = bin{(x.at + y.at) / 2, (x.drive + y.drive) / 2, (x.dose + y.dose) / 2, x.voltsKnown &&
			y.voltsKnown}
	}
	b.list = b.list[:len(b.list)/2]
	b.width *= 2
}

// DriveFit is the drive at nominal pressure, corrected to no dosing, and how it changes with time.
type DriveFit struct {
	Bins       int
	AtNoDosing float64 // %, at the middle of the time
	U          float64 // expanded (k = 2), of AtNoDosing
	PerKgH     float64 // % for each kg/h dosed; 0 when the dosing did not vary
	Change     float64 // % over the time heard
	ChangeU    float64 // expanded (k = 2)
	Hours      float64
	Normalised bool // to the system's voltage
}

// driveQuantum is the resolution of SPN 4375, %: half of it, as a rectangular distribution, is in every U.
const driveQuantum = 0.4

// fit puts drive = a + b dose + c time through the bins by least squares. The residuals of neighbouring
// bins depend on each other (temperature, road), so the standard errors are widened by sqrt((1+r)/(1-r))
// with their lag-one correlation r.
func (b *driveBins) fit() (f DriveFit, ok bool) {
	n := len(b.list)
	if n < 8 {
		return f, false
	}
	span := b.list[n-1].at - b.list[0].at
	middle := b.list[0].at + span/2
	var doses spread
	f = DriveFit{Bins: n, Hours: span, Normalised: true}
	for _, x := range b.list {
		doses.add(x.dose)
		f.Normalised = f.Normalised && x.voltsKnown
	}
	varies := doses.max-doses.min > 0.2
	row := func(x bin) []float64 {
		if varies {
			return []float64{1, (x.at - middle) / max(span, 1e-9), x.dose}
		}
		return []float64{1, (x.at - middle) / max(span, 1e-9)}
	}
	a, y := mat.NewDense(n, len(row(bin{})), nil), mat.NewVecDense(n, nil)
	for i, x := range b.list {
		a.SetRow(i, row(x))
		y.SetVec(i, x.drive)
	}
	var normal mat.SymDense
	normal.SymOuterK(1, a.T())
	var chol mat.Cholesky
	if !chol.Factorize(&normal) {
		return f, false
	}
	var right, beta mat.VecDense
	right.MulVec(a.T(), y)
	if chol.SolveVecTo(&beta, &right) != nil {
		return f, false
	}
	var inverse mat.SymDense
	if chol.InverseTo(&inverse) != nil {
		return f, false
	}
	s := b.residual(row, &beta)
	f.AtNoDosing, f.Change = beta.AtVec(0), beta.AtVec(1)
	f.U = 2 * math.Hypot(s*math.Sqrt(inverse.At(0, 0)), driveQuantum/math.Sqrt(12))
	f.ChangeU = 2 * math.Hypot(s*math.Sqrt(inverse.At(1, 1)), math.Sqrt2*driveQuantum/math.Sqrt(12))
	if varies {
		f.PerKgH = beta.AtVec(2)
	}
	return f, true
}

// residual is the standard deviation of what the fit leaves, widened for its correlation.
func (b *driveBins) residual(row func(bin) []float64, beta *mat.VecDense) float64 {
	var sum, cross, last float64
	for i, x := range b.list {
		r := x.drive - mat.Dot(mat.NewVecDense(beta.Len(), row(x)), beta)
		sum += r * r
		if i > 0 {
			cross += r * last
		}
		last = r
	}
	if sum == 0 {
		return 0
	}
	rho := min(max(cross/sum, 0), 0.95)
	return math.Sqrt(sum/float64(len(b.list)-beta.Len())) * math.Sqrt((1+rho)/(1-rho))
}
