package report

import (
	"fmt"
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"holdfast/bench/characteristic"
	"holdfast/bench/judge"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

const (
	plotWidth   = 720.0 // points: the text column of the page
	plotColumns = 900   // of pixels, for thinning
)

// timeline draws pressure and drive over the whole run, with the steps, the limits of the regulated
// pressure and the pressure at which the interlock trips. nil when there is nothing to draw.
func timeline(res *judge.Result) *figure {
	rec := res.Recording
	if rec == nil || rec.End <= rec.Start || !hasPressure(rec) {
		return nil
	}
	pressure := newPlot("", "pressure, bar gauge")
	pressure.X.Tick.Marker = plot.ConstantTicks(nil)
	highest := 1.0
	bands := stepBands{rec.Steps, rec.Start, true, &highest}
	pressure.Add(bands)
	addHoldBand(pressure, res)
	highest = addPressures(pressure, rec, rec.Start, rec.End)
	if trip := tripPressure(res); trip > 0 {
		addLevel(pressure, rec, trip, fmt.Sprintf("interlock trips at %g bar", trip))
		highest = max(highest, trip)
	}
	pressure.Y.Min, pressure.Y.Max = min(0, pressure.Y.Min), highest*1.5 // room for the steps' names
	pressure.Y.Tick.Marker = upTo{niceTicks{6}, highest * 1.02}

	drive := newPlot("time since the start, s", "drive, %")
	bands.names = false
	drive.Add(bands)
	actual := rec.Channels[rig.PumpDrive]
	if res.Bench == nil || res.Bench.Commands[rig.SetPumpDrive] != nil || len(actual.T) == 0 { // else: the unit's own affair
		commanded := held(rec.Commands[rig.SetPumpDrive], rec.End)
		addLine(drive, thin(commanded, rec.Start, rec.Start, rec.End, plotColumns, math.Inf(1)), brass, 1.4)
	}
	addLine(drive, thin(actual, rec.Start, rec.Start, rec.End, plotColumns, gap), ink, 0.7)
	drive.Y.Min, drive.Y.Max = 0, max(100, drive.Y.Max)
	drive.Y.Tick.Marker = niceTicks{4}
	for _, p := range []*plot.Plot{pressure, drive} {
		p.X.Min, p.X.Max = 0, rec.End.Seconds(rec.Start)
	}
	drive.X.Tick.Marker = niceTicks{10}
	return &figure{plotWidth, []float64{270, 130}, []*plot.Plot{pressure, drive},
		"Pressure and pump drive over the run, with the steps shaded"}
}

func hasPressure(rec *samples.Recording) bool {
	return len(rec.Channels[rig.LinePressure].T)+len(rec.Channels[rig.ReferencePressure].T) > 0
}

// tripPressure is the pressure (bar gauge) above which the interlock ended this run; 0: not known.
func tripPressure(res *judge.Result) float64 {
	trip := 0.0
	if res.Bench != nil {
		trip = res.Bench.Guard.MaxPressure
	}
	if res.Plan != nil && res.Plan.MaxPressure > 0 && (trip == 0 || res.Plan.MaxPressure < trip) {
		trip = res.Plan.MaxPressure
	}
	return trip
}

// addPressures draws the unit's sensor behind the bench gauge and returns the highest reading.
func addPressures(p *plot.Plot, rec *samples.Recording, from, to clock.Instant) float64 {
	sensor := thin(rec.Channels[rig.LinePressure], rec.Start, from, to, plotColumns, gap)
	gauge := thin(rec.Channels[rig.ReferencePressure], rec.Start, from, to, plotColumns, gap)
	return max(addLine(p, sensor, brass, 1.4), addLine(p, gauge, ink, 0.7), 1)
}

// addLine draws one channel and returns its highest value (negative infinity when there is none).
func addLine(p *plot.Plot, pieces []plotter.XYs, c color.Color, width float64) float64 {
	highest := math.Inf(-1)
	for _, piece := range pieces {
		line, err := plotter.NewLine(piece)
		if err != nil {
			continue // no number in it: such a piece has nothing to draw
		}
		line.LineStyle = draw.LineStyle{Color: c, Width: vg.Points(width)}
		p.Add(line)
		for _, xy := range piece {
			highest = max(highest, xy.Y)
		}
	}
	return highest
}

// addHoldBand shades the limits of the regulated pressure over the steps that hold it.
func addHoldBand(p *plot.Plot, res *judge.Result) {
	for _, l := range res.Lines {
		if l.Name != characteristic.RegulatedPressure || l.Limit == nil || l.Limit.Lower == nil || l.Limit.Upper == nil {
			continue
		}
		for _, s := range res.Recording.Steps {
			if s.Kind == scenario.Hold {
				p.Add(band{s.Start.Seconds(res.Recording.Start), s.End.Seconds(res.Recording.Start),
					*l.Limit.Lower, *l.Limit.Upper})
			}
		}
		return
	}
}

// addLevel draws a dashed line across the plot with its meaning written on it.
func addLevel(p *plot.Plot, rec *samples.Recording, y float64, text string) {
	end := rec.End.Seconds(rec.Start)
	line, err := plotter.NewLine(plotter.XYs{{X: 0, Y: y}, {X: end, Y: y}})
	if err != nil {
		return
	}
	line.LineStyle = draw.LineStyle{Color: danger, Width: vg.Points(0.8),
		Dashes: []vg.Length{vg.Points(5), vg.Points(3)}}
	p.Add(line, caption{end, y, text})
}

// upTo leaves out the ticks above a value.
type upTo struct {
	ticks plot.Ticker
	high  float64
}

func (u upTo) Ticks(low, high float64) []plot.Tick { return u.ticks.Ticks(low, min(high, u.high)) }
