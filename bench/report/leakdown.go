package report

import (
	"html/template"

	"gonum.org/v1/plot"

	"holdfast/bench/judge"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// maxLeakPlots bounds the page: a scenario seldom has more than one leak-down.
const maxLeakPlots = 3

// leakPlot is the pressure of one leak-down step at a scale on which a slow leak shows.
type leakPlot struct {
	Name string
	SVG  template.HTML
}

func leakPlots(res *judge.Result) []leakPlot {
	rec := res.Recording
	if rec == nil || !hasPressure(rec) {
		return nil
	}
	var plots []leakPlot
	for _, s := range rec.Steps {
		if s.Kind == scenario.LeakDown && s.End > s.Start && len(plots) < maxLeakPlots {
			plots = append(plots, leakPlot{s.Name, leakDown(rec, s)})
		}
	}
	return plots
}

func leakDown(rec *samples.Recording, s samples.StepRun) template.HTML {
	p := newPlot("time since the start, s", "pressure, bar gauge")
	addPressures(p, rec, s.Start, s.End)
	p.X.Min, p.X.Max = s.Start.Seconds(rec.Start), s.End.Seconds(rec.Start)
	margin := 0.05 * (p.Y.Max - p.Y.Min)
	p.Y.Min, p.Y.Max = p.Y.Min-margin, p.Y.Max+margin
	p.X.Tick.Marker, p.Y.Tick.Marker = niceTicks{10}, niceTicks{5}
	return stacked(plotWidth, []float64{200}, []*plot.Plot{p}, "Pressure during "+s.Name)
}
