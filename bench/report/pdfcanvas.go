package report

import (
	"image"
	"image/color"
	"math"

	"codeberg.org/go-pdf/fpdf"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// pdfCanvas lets a plot draw onto a page of a PDF, as vectors. Plots measure from the lower left corner
// upwards, the page from the upper left corner downwards; the canvas keeps the transformation itself,
// because a page's text would stand on its head under a mirrored one. It draws no images.
type pdfCanvas struct {
	f     *fpdf.Fpdf // unit: points
	m     affine
	stack []affine
}

// affine maps (x, y) to (a x + c y + e, b x + d y + f).
type affine struct{ a, b, c, d, e, f float64 }

func (m affine) apply(p vg.Point) (x, y float64) {
	return m.a*float64(p.X) + m.c*float64(p.Y) + m.e, m.b*float64(p.X) + m.d*float64(p.Y) + m.f
}

// then is the map that first does n, then m.
func (m affine) then(n affine) affine {
	return affine{m.a*n.a + m.c*n.b, m.b*n.a + m.d*n.b, m.a*n.c + m.c*n.d, m.b*n.c + m.d*n.d,
		m.a*n.e + m.c*n.f + m.e, m.b*n.e + m.d*n.f + m.f}
}

// newPDFCanvas has its origin at (x, y) of the page, in points from the upper left corner.
func newPDFCanvas(f *fpdf.Fpdf, x, y float64) *pdfCanvas {
	c := &pdfCanvas{f: f, m: affine{a: 1, d: -1, e: x, f: y}}
	vg.Initialize(c)
	return c
}

func (c *pdfCanvas) SetLineWidth(w vg.Length) { c.f.SetLineWidth(w.Points()) }

func (c *pdfCanvas) SetLineDash(pattern []vg.Length, offset vg.Length) {
	dashes := make([]float64, len(pattern))
	for i, d := range pattern {
		dashes[i] = d.Points()
	}
	c.f.SetDashPattern(dashes, offset.Points())
}

func (c *pdfCanvas) SetColor(col color.Color) {
	if col == nil {
		col = color.Black
	}
	n := color.NRGBAModel.Convert(col).(color.NRGBA)
	r, g, b := int(n.R), int(n.G), int(n.B)
	c.f.SetDrawColor(r, g, b)
	c.f.SetFillColor(r, g, b)
	c.f.SetTextColor(r, g, b)
}

func (c *pdfCanvas) Rotate(rad float64) {
	sin, cos := math.Sincos(rad)
	c.m = c.m.then(affine{cos, sin, -sin, cos, 0, 0})
}

func (c *pdfCanvas) Translate(p vg.Point) {
	c.m = c.m.then(affine{1, 0, 0, 1, float64(p.X), float64(p.Y)})
}

func (c *pdfCanvas) Scale(x, y float64) { c.m = c.m.then(affine{a: x, d: y}) }

func (c *pdfCanvas) Push() { c.stack = append(c.stack, c.m) }

func (c *pdfCanvas) Pop() {
	c.m = c.stack[len(c.stack)-1]
	c.stack = c.stack[:len(c.stack)-1]
}

func (c *pdfCanvas) Stroke(p vg.Path) { c.path(p, "D") }

func (c *pdfCanvas) Fill(p vg.Path) { c.path(p, "F") }

func (c *pdfCanvas) path(p vg.Path, style string) {
	if len(p) == 0 {
		return
	}
	for _, comp := range p {
		x, y := c.m.apply(comp.Pos)
		switch comp.Type {
		case vg.MoveComp:
			c.f.MoveTo(x, y)
		case vg.LineComp:
			c.f.LineTo(x, y)
		case vg.CurveComp:
			c.curve(comp, x, y)
		case vg.ArcComp:
			c.arc(comp)
		case vg.CloseComp:
			c.f.ClosePath()
		}
	}
	c.f.DrawPath(style)
}

func (c *pdfCanvas) curve(comp vg.PathComp, x, y float64) {
	c0x, c0y := c.m.apply(comp.Control[0])
	if len(comp.Control) == 1 {
		c.f.CurveTo(c0x, c0y, x, y)
		return
	}
	c1x, c1y := c.m.apply(comp.Control[1])
	c.f.CurveBezierCubicTo(c0x, c0y, c1x, c1y, x, y)
}

// arc draws an arc as cubic curves of at most a quarter turn each: off by less than 0.03 % of the radius.
func (c *pdfCanvas) arc(comp vg.PathComp) {
	n := max(1, int(math.Ceil(math.Abs(comp.Angle)/(math.Pi/2))))
	step := comp.Angle / float64(n)
	reach := 4.0 / 3 * math.Tan(step/4)
	on := func(angle, along float64) vg.Point {
		sin, cos := math.Sincos(angle)
		r := float64(comp.Radius)
		return vg.Point{X: comp.Pos.X + vg.Length(r*(cos-along*sin)), Y: comp.Pos.Y +
			vg.Length(r*(sin+along*cos))}
	}
	x, y := c.m.apply(on(comp.Start, 0))
	c.f.LineTo(x, y)
	for i := range n {
		a := comp.Start + float64(i)*step
		x0, y0 := c.m.apply(on(a, reach))
		x1, y1 := c.m.apply(on(a+step, -reach))
		x, y := c.m.apply(on(a+step, 0))
		c.f.CurveBezierCubicTo(x0, y0, x1, y1, x, y)
	}
}

// FillString writes a text with its base line's start at a point, turned as the canvas is.
func (c *pdfCanvas) FillString(face font.Face, p vg.Point, text string) {
	x, y := c.m.apply(p)
	c.f.SetFont(family0, "", face.Font.Size.Points())
	turn := math.Atan2(-c.m.b, c.m.a) * 180 / math.Pi
	if turn == 0 {
		c.f.Text(x, y, text)
		return
	}
	c.f.TransformBegin()
	c.f.TransformRotate(turn, x, y)
	c.f.Text(x, y, text)
	c.f.TransformEnd()
}

// DrawImage does nothing: our plots hold no images.
func (c *pdfCanvas) DrawImage(vg.Rectangle, image.Image) {}
