package report

import (
	"bytes"
	"fmt"
	"html/template"
	"image/color"
	"math"
	"regexp"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/plotter"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgsvg"
)

// The colours of the plots. They differ in lightness, so that a grey print tells them apart.
var (
	ink    = color.NRGBA{R: 0x1d, G: 0x1f, B: 0x21, A: 0xff}
	brass  = color.NRGBA{R: 0xb0, G: 0x7d, B: 0x2b, A: 0xff}
	pale   = color.NRGBA{R: 0xf1, G: 0xee, B: 0xe7, A: 0xff}
	rule   = color.NRGBA{R: 0xc9, G: 0xc3, B: 0xb6, A: 0xff}
	inside = color.NRGBA{R: 0xcd, G: 0xdc, B: 0xcf, A: 0xff} // within the limit
	danger = color.NRGBA{R: 0x9e, G: 0x1b, B: 0x1b, A: 0xff}
)

// sans is the plots' typeface; the page replaces its family by its own.
func sans(size float64) font.Font {
	return font.Font{Typeface: "Liberation", Variant: "Sans", Size: vg.Points(size)}
}

// newPlot returns an empty plot in our style.
func newPlot(x, y string) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	p.X.Label.Text, p.Y.Label.Text = x, y
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Label.TextStyle.Font = sans(9.5)
		a.Label.TextStyle.Color = ink
		a.Tick.Label.Font = sans(9)
		a.Tick.Label.Color = ink
		a.LineStyle.Width = vg.Points(0.6)
		a.LineStyle.Color = ink
		a.Tick.LineStyle = a.LineStyle
		a.Padding = 0
	}
	p.X.Label.Padding, p.Y.Label.Padding = vg.Points(3), vg.Points(4)
	lines := plotter.NewGrid()
	lines.Vertical.Color = nil
	lines.Horizontal = draw.LineStyle{Color: rule, Width: vg.Points(0.35)}
	p.Add(lines)
	return p
}

// apart is the air above each plot (points): the lowest label of one does not touch the highest of the
// next.
const apart = 7.0

// figure is plots above each other with one common x axis, to be drawn on a page of any kind.
type figure struct {
	width   float64   // points
	heights []float64 // points, from the top down
	plots   []*plot.Plot
	label   string // for those who cannot see it
}

func (f *figure) height() float64 {
	total := 0.0
	for _, h := range f.heights {
		total += h
	}
	return total
}

// SVG returns the figure as part of an HTML page.
func (f *figure) SVG() template.HTML {
	svg := vgsvg.New(vg.Points(f.width), vg.Points(f.height()))
	f.draw(svg)
	return inline(svg, f.label)
}

// draw puts the figure on a canvas with its lower left corner at the canvas's origin.
func (f *figure) draw(c vg.Canvas) {
	width := vg.Points(f.width)
	tiles := make([]draw.Canvas, len(f.plots))
	left, right := vg.Length(0), vg.Length(0)
	below := f.height()
	for i, p := range f.plots {
		below -= f.heights[i]
		top := below + f.heights[i] - apart
		tiles[i] = draw.Canvas{Canvas: c, Rectangle: vg.Rectangle{
			Min: vg.Point{Y: vg.Points(below)}, Max: vg.Point{X: width, Y: vg.Points(top)}}}
		data := p.DataCanvas(tiles[i])
		left, right = max(left, data.Min.X), max(right, width-data.Max.X)
	}
	for i, p := range f.plots {
		data := p.DataCanvas(tiles[i])
		tiles[i].Min.X += left - data.Min.X
		tiles[i].Max.X -= right - (width - data.Max.X)
		p.Draw(tiles[i])
	}
}

var (
	svgHead = regexp.MustCompile(`(?s)^.*?<svg width="[^"]*" height="[^"]*" viewBox="([^"]*)"[^>]*>`)
	family  = regexp.MustCompile(`font-family:[^;"]*;font-variant:[^;"]*;font-weight:normal;font-style:normal;?`)
)

// inline makes a drawing part of an HTML page: without an XML head, as wide as its column, with the
// page's typeface, and with a name for those who cannot see it.
func inline(svg *vgsvg.Canvas, label string) template.HTML {
	var b bytes.Buffer
	if _, err := svg.WriteTo(&b); err != nil {
		return "" // a bytes.Buffer takes everything
	}
	head := svgHead.FindSubmatch(b.Bytes())
	if head == nil {
		return ""
	}
	body := family.ReplaceAll(b.Bytes()[len(head[0]):], nil)
	open := fmt.Sprintf(`<svg viewBox="%s" role="img" aria-label="%s" xmlns="http://www.w3.org/2000/svg">`,
		head[1], template.HTMLEscapeString(label))
	return template.HTML(open + string(body)) // vgsvg escapes every text that it writes
}

// niceTicks puts about n ticks at steps of 1, 2, 3, 5 or 10 (and, for seconds, of 15 and 30).
type niceTicks struct{ n int }

func (t niceTicks) Ticks(low, high float64) []plot.Tick {
	step := niceStep((high - low) / float64(t.n))
	var ticks []plot.Tick
	for v := math.Ceil(low/step) * step; v <= high+step/1e6; v += step {
		ticks = append(ticks, plot.Tick{Value: v, Label: fmt.Sprintf("%.*f", decimals(step), v+0)})
	}
	return ticks
}

func niceStep(about float64) float64 {
	if !(about > 0) || math.IsInf(about, 0) {
		return 1
	}
	unit := math.Pow(10, math.Floor(math.Log10(about)))
	for _, m := range []float64{1, 2, 5} {
		if about <= m*unit {
			return m * unit
		}
	}
	return 10 * unit
}

func decimals(step float64) int {
	return max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
}
