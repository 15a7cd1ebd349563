package report

import (
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// maxLeakPlots bounds the page: a scenario seldom has more than one leak-down.
const maxLeakPlots = 3

// plotWords is a figure with its heading and the words below it.
type plotWords struct {
	Name    string
	Figure  *figure
	Caption string // after the two pressures' keys, which HTML draws and PDF writes
	Keys    bool   // the figure shows the bench gauge and the unit's sensor
}

// leakPlots are the pressures of the leak-down steps at a scale on which a slow leak shows.
func leakPlots(res *judge.Result) []plotWords {
	rec := res.Recording
	if rec == nil || !hasPressure(rec) {
		return nil
	}
	var plots []plotWords
	for _, s := range rec.Steps {
		if s.Kind == scenario.LeakDown && s.End > s.Start && len(plots) < maxLeakPlots {
			f, fitted := leakDown(res, s)
			caption := "Pump off, return shut, dosing valve shut: what falls is leak and temperature."
			if fitted {
				caption += " Dashed: the law that the leak rate was read from."
			}
			if len(rec.Channels[rig.ReferencePressure].T) == 0 {
				caption += " A coarse sensor steps down like a staircase."
			}
			plots = append(plots, plotWords{capitalised(s.Name), f, caption, true})
		}
	}
	return plots
}

func leakDown(res *judge.Result, s samples.StepRun) (f *figure, fitted bool) {
	rec := res.Recording
	p := newPlot("time since the start, s", "pressure, bar gauge")
	// Each reading of the unit's sensor holds until the next: its steps are what it says.
	sensor := held(rec.Channels[rig.LinePressure], s.End)
	addLine(p, thin(sensor, rec.Start, s.Start, s.End, plotColumns, gap), brass, 1.4)
	gauge := thin(rec.Channels[rig.ReferencePressure], rec.Start, s.Start, s.End, plotColumns, gap)
	addLine(p, gauge, ink, 0.7)
	// The fit may begin earlier: a compliance step before it may be in the same shut-in.
	if c := res.Curves; len(c.Leak.X) > 0 && c.LeakFrom < s.End && c.LeakTo > s.Start {
		law := within(c.Leak, s.Start.Seconds(rec.Start), s.End.Seconds(rec.Start))
		fitted = addCurve(p, law, draw.LineStyle{Color: danger, Width: vg.Points(1.1),
			Dashes: []vg.Length{vg.Points(4), vg.Points(3)}})
	}
	p.X.Min, p.X.Max = s.Start.Seconds(rec.Start), s.End.Seconds(rec.Start)
	margin := 0.05 * (p.Y.Max - p.Y.Min)
	p.Y.Min, p.Y.Max = p.Y.Min-margin, p.Y.Max+margin
	p.X.Tick.Marker, p.Y.Tick.Marker = niceTicks{10}, niceTicks{5}
	return &figure{plotWidth, []float64{200}, []*plot.Plot{p}, "Pressure during " + s.Name}, fitted
}

// within leaves of a curve what lies from low to high.
func within(c measure.Curve, low, high float64) (part measure.Curve) {
	for i, x := range c.X {
		if x >= low && x <= high {
			part.X, part.Y = append(part.X, x), append(part.Y, c.Y[i])
		}
	}
	return part
}

// addCurve draws a curve; false when it holds no number.
func addCurve(p *plot.Plot, c measure.Curve, style draw.LineStyle) bool {
	xy := make(plotter.XYs, 0, len(c.X))
	for i := range c.X {
		if !math.IsNaN(c.Y[i]) && !math.IsInf(c.Y[i], 0) {
			xy = append(xy, plotter.XY{X: c.X[i], Y: c.Y[i]})
		}
	}
	line, err := plotter.NewLine(xy)
	if err != nil || len(xy) < 2 {
		return false
	}
	line.LineStyle = style
	p.Add(line)
	return true
}
