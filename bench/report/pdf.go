package report

import (
	"bytes"
	"fmt"
	"io"
	"time"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"

	"holdfast/bench/judge"
)

// PDF writes the page that HTMLCertificate writes (HTML when c is nil) as a PDF for a size of paper. The
// same result gives the same bytes.
func PDF(w io.Writer, res *judge.Result, c *Certificate, p Paper) error {
	s := sheetOf(res, c, p)
	made := res.Started
	if c != nil {
		made = c.Issued
	}
	// Twice: the first time to know how many pages there are.
	total := 0
	var out bytes.Buffer
	for range 2 {
		b := newBooklet(&s, p, made, total)
		b.write()
		total = b.f.PageCount()
		out.Reset()
		if err := b.f.Output(&out); err != nil {
			return fmt.Errorf("write PDF: %w", err)
		}
	}
	if _, err := w.Write(out.Bytes()); err != nil {
		return fmt.Errorf("write PDF: %w", err)
	}
	return nil
}

const (
	family0 = "sans" // the booklet's only family
	side    = 40.0   // margins, points
	top     = 56.0
	bottom  = 50.0
	body    = 8.6 // size of ordinary text, points
	leading = 1.34
)

// booklet is a PDF being written: a flow of blocks from the top of a page to its bottom. Lengths are points.
type booklet struct {
	f             *fpdf.Fpdf
	s             *sheet
	width, height float64 // of the page
	y             float64 // where the next block begins
	number        string
	total         int // pages; 0: not known yet
	quiet         int // above 0: only measuring, nothing is written
}

func newBooklet(s *sheet, p Paper, made time.Time, total int) *booklet {
	if p == "" {
		p = A4
	}
	f := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "pt", SizeStr: string(p)})
	f.SetAutoPageBreak(false, 0)
	f.SetCatalogSort(true)
	f.SetCreationDate(made.UTC())
	f.SetModificationDate(made.UTC())
	f.SetCreator("holdfast "+s.Version, true)
	f.AddUTF8FontFromBytes(family0, "", liberationsansregular.TTF)
	f.AddUTF8FontFromBytes(family0, "B", liberationsansbold.TTF)
	b := &booklet{f: f, s: s, number: s.Run, total: total}
	b.width, b.height = f.GetPageSize()
	title := "Bench test " + s.Serial
	if s.Cert != nil {
		b.number = s.Cert.Number
		title = "Test certificate " + s.Cert.Number + " " + s.Serial
		f.SetKeywords(s.Cert.Mark, false) // plain ASCII, so that the mark is found in the file
	}
	f.SetTitle(title, true)
	b.newPage()
	return b
}

func (b *booklet) inner() float64 { return b.width - 2*side }

// newPage begins a page with its head and its foot: the number, and the page's own number.
func (b *booklet) newPage() {
	b.f.AddPage()
	b.f.SetDashPattern(nil, 0)
	b.fill(ink)
	b.f.Rect(side, 26, b.inner(), 4, "F")
	b.mark(side, 35)
	what := "bench test of a DEF supply unit"
	if b.s.Cert != nil {
		what = "test certificate of a DEF supply unit"
	}
	x := b.put(side+20, 46, 9, "B", "Holdfast ")
	b.put(x, 46, 9, "", what)
	b.putRight(b.width-side, 46, 9, "B", b.number)
	foot := b.height - 28
	b.rule(foot-11, 0.5)
	b.put(side, foot, 7.5, "", fit(b, "Unit "+b.s.Serial+"   run "+b.s.Run, 7.5, b.inner()*0.55))
	page := fmt.Sprintf("%s/%d   page %d of %d", b.number, b.f.PageNo(), b.f.PageNo(), b.total)
	b.putRight(b.width-side, foot, 7.5, "", page)
	b.y = top + 8
}

// mark draws our mark, 14 points wide: a clamp that holds a piece of work.
func (b *booklet) mark(x, y float64) {
	at := func(col func(), points ...float64) {
		col()
		poly := make([]fpdf.PointType, len(points)/2)
		for i := range poly {
			poly[i] = fpdf.PointType{X: x + points[2*i]/2, Y: y + points[2*i+1]/2}
		}
		b.f.Polygon(poly, "F")
	}
	at(func() { b.fill(ink) }, 3, 3, 25, 3, 25, 9, 9, 9, 9, 19, 25, 19, 25, 25, 3, 25)
	at(func() { b.fill(brass) }, 14, 11.5, 18, 11.5, 18, 9.5, 22, 9.5, 22, 11.5, 25, 11.5, 25, 16.5, 22, 16.5,
		22, 18.5,
		18, 18.5, 18, 16.5, 14, 16.5)
}

// room begins a new page when fewer than h points are left on this one.
func (b *booklet) room(h float64) {
	if b.y+h > b.height-bottom {
		b.newPage()
	}
}

// write writes the whole booklet, in the order of the HTML page.
func (b *booklet) write() {
	b.top()
	b.notices()
	b.certificate()
	b.likely()
	b.warnings()
	b.results()
	b.circuit()
	b.figures()
	b.circumstances()
	b.cautions()
	b.about()
	b.lists()
	b.budgets()
	b.proof()
}
