package report

import (
	"image/color"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"holdfast/bench/samples"
	"holdfast/j1939/clock"
)

// stepBands shades every other step over the full height and writes the steps' names upright at the top.
type stepBands struct {
	steps []samples.StepRun
	start clock.Instant
	names bool
	above *float64 // the value above which the names stand; known when everything is added
}

func (b stepBands) Plot(c draw.Canvas, p *plot.Plot) {
	trX, trY := p.Transforms(&c)
	for i, s := range b.steps {
		x0, x1 := trX(s.Start.Seconds(b.start)), trX(s.End.Seconds(b.start))
		if i%2 == 0 {
			fillRectangle(c, pale, x0, c.Min.Y, x1, c.Max.Y)
		}
		edge := draw.LineStyle{Color: rule, Width: vg.Points(0.4)}
		c.StrokeLine2(edge, x1, c.Min.Y, x1, c.Max.Y)
		const upright = 8.5 // points that a name needs across
		if b.names && x1-x0 >= vg.Points(upright) {
			sty := textStyle(8.5, ink)
			sty.Rotation = math.Pi / 2
			sty.XAlign, sty.YAlign = text.XRight, text.YCenter
			c.FillText(sty, vg.Point{X: (x0 + x1) / 2, Y: c.Max.Y - vg.Points(3)},
				fitting(sty, s.Name, c.Max.Y-trY(*b.above)-vg.Points(5)))
		}
	}
}

// fitting shortens a name until it takes no more room than there is.
func fitting(sty draw.TextStyle, name string, room vg.Length) string {
	sty.Rotation = 0
	const least = 5
	for n := len([]rune(name)); n > least; n-- {
		if short := shorten(name, n); sty.Width(short) <= room {
			return short
		}
	}
	return shorten(name, least)
}

// band is the inside of a limit over a stretch of time: shaded, with its two edges drawn.
type band struct{ from, to, low, high float64 }

func (b band) Plot(c draw.Canvas, p *plot.Plot) {
	trX, trY := p.Transforms(&c)
	x0, x1, y0, y1 := trX(b.from), trX(b.to), trY(b.low), trY(b.high)
	fillRectangle(c, inside, x0, y0, x1, y1)
	edge := draw.LineStyle{Color: ink, Width: vg.Points(0.6), Dashes: []vg.Length{vg.Points(2), vg.Points(2)}}
	c.StrokeLine2(edge, x0, y0, x1, y0)
	c.StrokeLine2(edge, x0, y1, x1, y1)
}

// DataRange makes room for the band.
func (b band) DataRange() (xmin, xmax, ymin, ymax float64) { return b.from, b.to, b.low, b.high }

// caption is a text below the right end of a line: above it stand the steps' names.
type caption struct {
	x, y float64
	text string
}

func (t caption) Plot(c draw.Canvas, p *plot.Plot) {
	trX, trY := p.Transforms(&c)
	sty := textStyle(8.5, danger)
	sty.XAlign, sty.YAlign = text.XRight, text.YTop
	c.FillText(sty, vg.Point{X: trX(t.x) - vg.Points(3), Y: trY(t.y) - vg.Points(2)}, t.text)
}

func textStyle(size float64, c color.Color) draw.TextStyle {
	return draw.TextStyle{Color: c, Font: sans(size), Handler: plot.DefaultTextHandler}
}

func fillRectangle(c draw.Canvas, fill color.Color, x0, y0, x1, y1 vg.Length) {
	c.FillPolygon(fill, []vg.Point{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}})
}

// shorten cuts a text to n characters.
func shorten(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return string(r[:n-1]) + "…"
}
