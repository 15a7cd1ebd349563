package report

import (
	"image/color"
	"strings"
)

// column is one column of a table in the booklet.
type tableColumn struct {
	head  string
	width float64 // share of the text column
	right bool    // numbers
}

// tableRow is the cells of a row, and how it stands out.
type tableRow struct {
	cells []string
	small string // below the first cell
	bold  bool
	bar   bool // a bar at the left edge
	draw  func(x, y, width float64)
}

// table writes a table; its head is repeated on every page. A row is never broken.
func (b *booklet) table(columns []tableColumn, size float64, rows []tableRow) {
	b.tableHead(columns)
	for _, r := range rows {
		height, cells := b.rowLines(columns, size, r)
		if b.y+height > b.height-bottom {
			b.newPage()
			b.tableHead(columns)
		}
		b.row(columns, size, r, cells, height)
	}
	b.y += 4
}

func (b *booklet) tableHead(columns []tableColumn) {
	b.y += 11
	x := side
	for _, c := range columns {
		w := c.width * b.inner()
		if c.right {
			b.putRight(x+w-6, b.y-3, 7.2, "", c.head)
		} else {
			b.put(x, b.y-3, 7.2, "", c.head)
		}
		x += w
	}
	b.rule(b.y, 0.5)
}

// rowLines breaks each cell to its column.
func (b *booklet) rowLines(columns []tableColumn, size float64, r tableRow) (height float64,
	cells [][]string) {
	style := ""
	if r.bold {
		style = "B"
	}
	most := 1
	for i, text := range r.cells {
		lines := b.lines(text, size, style, columns[i].width*b.inner()-6)
		n := len(lines)
		if i == 0 && r.small != "" {
			n += len(b.lines(r.small, size-1, "", columns[0].width*b.inner()-6))
		}
		most = max(most, n)
		cells = append(cells, lines)
	}
	return float64(most)*size*leading + 3, cells
}

func (b *booklet) row(columns []tableColumn, size float64, r tableRow, cells [][]string, height float64) {
	style := ""
	if r.bold {
		style = "B"
	}
	x := side
	for i, lines := range cells {
		w := columns[i].width * b.inner()
		y := b.y + 1.5
		for _, line := range lines {
			y += size * leading
			if columns[i].right {
				b.putRight(x+w-6, y-0.28*size, size, style, line)
			} else {
				b.put(x, y-0.28*size, size, style, line)
			}
		}
		if i == 0 && r.small != "" {
			b.block(x, y, w-6, size-1, "", r.small)
		}
		if r.draw != nil && columns[i].head == "" {
			r.draw(x, b.y+1.5, w-8)
		}
		x += w
	}
	if r.bar {
		b.fill(ink)
		b.f.Rect(side-6, b.y+1, 3, height-1, "F")
	}
	b.y += height
	b.stroke(rule, 0.4)
	b.f.Line(side, b.y, b.width-side, b.y)
}

// results writes the table of characteristics.
func (b *booklet) results() {
	b.heading("Results", 60)
	columns := []tableColumn{{"Characteristic", 0.29, false}, {"Value", 0.1, true}, {"U (k = 2)", 0.1, false},
		{"Unit", 0.09, false}, {"Limit", 0.14, false}, {"", 0.16, false}, {"Verdict", 0.12, false}}
	rows := make([]tableRow, 0, len(b.s.Rows))
	for _, r := range b.s.Rows {
		u := r.U
		if u != "" {
			u = "± " + u
		}
		row := tableRow{cells: []string{r.Name, r.Value, u, r.Unit, r.Limit, "", verdictWord(r.Verdict)},
			small: r.Note,
			bold:  r.Verdict == "fail", bar: r.Verdict == "fail"}
		if g, ok := geometryOf(r.line); ok {
			row.draw = func(x, y, w float64) { b.limitRule(g, x, y, w) }
		}
		rows = append(rows, row)
	}
	b.table(columns, body-0.4, rows)
	for _, m := range b.s.Unmeasured {
		b.para("Not measured: "+m.Label+". "+m.Text+".", 7.6, "")
	}
	b.para("U is the expanded uncertainty (about 95 %): coverage factor 2, less where rounding outweighs the rest. "+
		"The bar is what the limit permits; the dot is the value, its whisker U; a triangle points beyond.", 7.6, "")
}

// limitRule draws a value against its limit, as the HTML page does.
func (b *booklet) limitRule(g geometry, x, y, w float64) {
	k := w / ruleWidth
	at := func(v float64) float64 { return x + v*k }
	mid := y + 7*0.75
	b.stroke(rule, 0.6)
	b.f.Line(x, mid, x+w, mid)
	b.fill(color.NRGBA{R: 0xd5, G: 0xdd, B: 0xd3, A: 0xff})
	b.f.Rect(at(g.from), mid-2.6, (g.to-g.from)*k, 5.2, "F")
	b.stroke(ink, 0.8)
	for _, e := range g.edges {
		b.f.Line(at(e), mid-4.4, at(e), mid+4.4)
	}
	b.fill(ink)
	switch g.mark {
	case markRight:
		b.arrow(at(g.x), mid, 5)
	case markLeft:
		b.arrow(at(g.x), mid, -5)
	default:
		b.stroke(ink, 0.6)
		b.f.Line(at(g.low), mid, at(g.high), mid)
		b.f.Line(at(g.low), mid-2.2, at(g.low), mid+2.2)
		b.f.Line(at(g.high), mid-2.2, at(g.high), mid+2.2)
		b.f.Circle(at(g.x), mid, 1.9, "F")
	}
}

// arrow is a triangle whose tip lies length to the right.
func (b *booklet) arrow(x, y, length float64) {
	b.f.MoveTo(x, y-3.2)
	b.f.LineTo(x+length, y)
	b.f.LineTo(x, y+3.2)
	b.f.ClosePath()
	b.f.DrawPath("F")
}

// lists writes the steps, the fault codes, the instruments and what happened.
func (b *booklet) lists() {
	small := body - 0.8
	if len(b.s.Steps) > 0 {
		b.heading("Steps", 40)
		var rows []tableRow
		for _, s := range b.s.Steps {
			rows = append(rows, tableRow{cells: []string{s.Name, s.Kind, s.Start, s.Length, s.Outcome},
				small: s.Note})
		}
		b.table([]tableColumn{{"Step", 0.38, false}, {"Kind", 0.2, false}, {"Start, s", 0.12, true},
			{"Length, s", 0.12, true},
			{"Outcome", 0.18, false}}, small, rows)
	}
	b.heading("Fault codes", 30)
	if len(b.s.Faults) == 0 {
		b.para("None was heard during the run.", body, "")
	} else {
		var rows []tableRow
		for _, f := range b.s.Faults {
			rows = append(rows, tableRow{cells: []string{f.SPN, f.FMI, f.Kind, f.Count, f.Source, f.Seen}})
		}
		b.table([]tableColumn{{"SPN", 0.12, true}, {"FMI", 0.1, true}, {"State", 0.22, false}, {"Count", 0.14,
			true},
			{"Source address", 0.16, true}, {"Seen", 0.26, false}}, small, rows)
	}
	b.instruments(small)
	b.checks(small)
	b.events(small)
}

func (b *booklet) instruments(size float64) {
	if len(b.s.Tools) == 0 {
		return
	}
	b.heading("Instruments", 40)
	var rows []tableRow
	for _, t := range b.s.Tools {
		due := t.Due
		if t.Late {
			due += " OVERDUE"
		}
		rows = append(rows, tableRow{cells: []string{t.Name, t.Accuracy, t.Resolution, t.Calibrated, due},
			bold: t.Late})
	}
	b.table([]tableColumn{{"Channel", 0.27, false}, {"Accuracy (k = 2)", 0.29, false}, {"Resolution", 0.16,
		false},
		{"Calibrated", 0.12, false}, {"Due", 0.16, false}}, size, rows)
}

func (b *booklet) events(size float64) {
	if len(b.s.Events) == 0 {
		return
	}
	b.heading("What happened", 30)
	var rows []tableRow
	for _, e := range b.s.Events {
		rows = append(rows, tableRow{cells: []string{e.Time, e.Text}})
	}
	b.table([]tableColumn{{"Time, s", 0.1, true}, {"", 0.9, false}}, size, rows)
}

// budgets writes where each uncertainty comes from, one line a source.
func (b *booklet) budgets() {
	if len(b.s.Budgets) == 0 {
		return
	}
	b.heading("Where the uncertainty comes from", 60)
	b.para("Standard uncertainties (k = 1), each multiplied by its sensitivity, in the characteristic's "+
		"unit, and their share of "+
		"the whole (JCGM 100:2008).", 7.6, "")
	var rows []tableRow
	for _, g := range b.s.Budgets {
		var sources []string
		for _, l := range g.Lines {
			if l.U != "0" {
				sources = append(sources, l.Source+" "+l.U+" ("+l.Share+")")
			}
		}
		u := g.U
		if u != "" {
			u = "± " + strings.TrimSpace(u+" "+g.Unit)
		}
		rows = append(rows, tableRow{cells: []string{g.Name, strings.Join(sources, ", "), u}})
	}
	b.table([]tableColumn{{"Characteristic", 0.23, false},
		{"Standard uncertainty of each source and its share", 0.59, false},
		{"U (k = 2)", 0.18, false}}, body-1.2, rows)
}
