package report

import (
	"fmt"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// spectrum draws the amplitude of the ripple over frequency, with the pump's shaft marked. A zero value:
// there is nothing to draw.
func spectrum(res *judge.Result) (words plotWords) {
	c, shaft := res.Curves.Ripple, res.Curves.Shaft
	if len(c.X) == 0 {
		return words
	}
	p := newPlot("frequency, Hz", "amplitude, bar")
	highest := 0.0
	for _, v := range c.Y[1:] {
		highest = max(highest, v)
	}
	if !(highest > 0) {
		return words
	}
	if shaft > 0 && shaft < c.X[len(c.X)-1] {
		mark, err := plotter.NewLine(plotter.XYs{{X: shaft, Y: 0}, {X: shaft, Y: 1.1 * highest}})
		if err == nil {
			mark.LineStyle = draw.LineStyle{Color: danger, Width: vg.Points(0.8),
				Dashes: []vg.Length{vg.Points(5), vg.Points(3)}}
			p.Add(mark)
		}
		words.Caption = fmt.Sprintf("Dashed: the pump's shaft, %.1f Hz. ", shaft)
	}
	addCurve(p, measure.Curve{X: c.X[1:], Y: c.Y[1:]}, draw.LineStyle{Color: ink, Width: vg.Points(0.8)})
	p.X.Min, p.X.Max, p.Y.Min, p.Y.Max = 0, c.X[len(c.X)-1], 0, 1.1*highest
	p.X.Tick.Marker, p.Y.Tick.Marker = niceTicks{10}, niceTicks{4}
	words.Name = "Ripple while the pressure is held"
	words.Caption += "A single-diaphragm pump pulses once a turn. Multiples of it above half the rate of " +
		"the readings show mirrored below it."
	words.Figure = &figure{plotWidth, []float64{150}, []*plot.Plot{p},
		"Amplitude of the pressure over frequency"}
	return words
}

// driveAgainstPressure draws what drive each pressure took while the pump regulated: the price of nominal
// pressure. A zero value: there is nothing to draw.
func driveAgainstPressure(res *judge.Result) (words plotWords) {
	rec := res.Recording
	if rec == nil || !hasPressure(rec) {
		return words
	}
	pressure := rec.Channels[rig.ReferencePressure]
	if len(pressure.T) == 0 {
		pressure = rec.Channels[rig.LinePressure]
	}
	drive := rec.Channels[rig.PumpDrive]
	if len(drive.T) == 0 {
		drive = rec.Commands[rig.SetPumpDrive]
	}
	var points plotter.XYs
	for _, s := range rec.Steps {
		if s.Kind == scenario.Pressurise || s.Kind == scenario.Hold || s.Kind == scenario.Dose {
			points = append(points, paired(pressure, drive, s.Start, s.End)...)
		}
	}
	dots, err := plotter.NewScatter(points)
	if err != nil || len(points) < 10 {
		return words
	}
	dots.GlyphStyle = draw.GlyphStyle{Color: ink, Radius: vg.Points(0.9), Shape: draw.RingGlyph{}}
	p := newPlot("pressure, bar gauge", "pump drive, %")
	p.Add(dots)
	p.X.Min, p.Y.Min, p.Y.Max = 0, 0, max(100, p.Y.Max)
	p.X.Tick.Marker, p.Y.Tick.Marker = niceTicks{10}, niceTicks{4}
	return plotWords{Name: "Drive against pressure",
		Caption: "Pressurise, hold and dose steps, one ring each half second. " +
			"A worn pump or a leak takes more drive for the same pressure, a fouled return less.",
		Figure: &figure{plotWidth, []float64{170}, []*plot.Plot{p}, "Pump drive over pressure"}}
}

// paired reads two series at the same instants, twice a second: each holds its last value.
func paired(x, y samples.Series, from, to clock.Instant) plotter.XYs {
	const every = 500_000_000 // ns
	var points plotter.XYs
	i, k := 0, 0
	for t := from; t <= to; t += every {
		for i < len(x.T) && x.T[i] <= t {
			i++
		}
		for k < len(y.T) && y.T[k] <= t {
			k++
		}
		if i > 0 && k > 0 {
			points = append(points, plotter.XY{X: x.V[i-1], Y: y.V[k-1]})
		}
	}
	return points
}
