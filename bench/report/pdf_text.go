package report

import (
	"image/color"
	"strings"
)

func (b *booklet) fill(c color.NRGBA) { b.f.SetFillColor(int(c.R), int(c.G), int(c.B)) }

func (b *booklet) stroke(c color.NRGBA, width float64) {
	b.f.SetDrawColor(int(c.R), int(c.G), int(c.B))
	b.f.SetLineWidth(width)
}

func (b *booklet) font(size float64, style string) { b.f.SetFont(family0, style, size) }

// put writes one line with its base line at y, and returns where it ends.
func (b *booklet) put(x, y, size float64, style, text string) float64 {
	b.font(size, style)
	b.f.SetTextColor(int(ink.R), int(ink.G), int(ink.B))
	text = printable(text)
	if b.quiet == 0 {
		b.f.Text(x, y, text)
	}
	return x + b.f.GetStringWidth(text)
}

func (b *booklet) putRight(x, y, size float64, style, text string) {
	b.font(size, style)
	b.put(x-b.f.GetStringWidth(printable(text)), y, size, style, text)
}

// rule draws a line across the column.
func (b *booklet) rule(y, width float64) {
	b.stroke(ink, width)
	b.f.SetDashPattern(nil, 0)
	b.f.Line(side, y, b.width-side, y)
}

// lines breaks a text to a width; a word that is too long is broken too.
func (b *booklet) lines(text string, size float64, style string, width float64) []string {
	b.font(size, style)
	var all []string
	line := ""
	for _, word := range strings.Fields(printable(text)) {
		for b.f.GetStringWidth(word) > width {
			n := b.longest(word, width)
			if line != "" {
				all = append(all, line)
				line = ""
			}
			all = append(all, word[:n])
			word = word[n:]
		}
		with := word
		if line != "" {
			with = line + " " + word
		}
		if line != "" && b.f.GetStringWidth(with) > width {
			all = append(all, line)
			with = word
		}
		line = with
	}
	if line != "" || len(all) == 0 {
		all = append(all, line)
	}
	return all
}

// longest is how many bytes of a word, at least one character, fit a width.
func (b *booklet) longest(word string, width float64) int {
	n := 0
	for i, r := range word {
		end := i + len(string(r))
		if n > 0 && b.f.GetStringWidth(word[:end]) > width {
			break
		}
		n = end
	}
	return n
}

// fit cuts a text to a width.
func fit(b *booklet, text string, size, width float64) string {
	b.font(size, "")
	text = printable(text)
	if b.f.GetStringWidth(text) <= width {
		return text
	}
	return text[:b.longest(text, width-b.f.GetStringWidth("…"))] + "…"
}

// block writes a text from y downwards in a column and returns where it ends. It does not leave the page.
func (b *booklet) block(x, y, width, size float64, style, text string) float64 {
	for _, line := range b.lines(text, size, style, width) {
		y += size * leading
		b.put(x, y-0.28*size, size, style, line)
	}
	return y
}

// para writes a paragraph at the next place.
func (b *booklet) para(text string, size float64, style string) {
	for _, line := range b.lines(text, size, style, b.inner()) {
		b.room(size * leading)
		b.y += size * leading
		b.put(side, b.y-0.28*size, size, style, line)
	}
	b.y += 3
}

// heading begins a section, with room for something below it.
func (b *booklet) heading(text string, below float64) {
	b.room(26 + below)
	b.y += 22
	b.put(side, b.y-4, 10, "B", text)
	b.rule(b.y, 1)
	b.y += 3
}

// facts writes labels with texts beside them.
func (b *booklet) facts(all []pair) {
	const label = 96.0
	for _, p := range all {
		lines := b.lines(p.Text, body, "", b.inner()-label)
		b.room(min(float64(len(lines)), 3) * body * leading)
		for i, line := range lines {
			b.room(body * leading)
			b.y += body * leading
			if i == 0 {
				b.put(side, b.y-0.28*body, body, "", p.Label)
			}
			b.put(side+label, b.y-0.28*body, body, "", line)
		}
		b.y += 1.5
	}
}

// boxed writes lines of text in a frame. width is that of the frame's line; heavy has a bar at its left.
func (b *booklet) boxed(width float64, heavy bool, write func(x, y, width float64) float64) {
	const pad = 8.0
	height := b.measure(func() float64 { return write(side+pad, 0, b.inner()-2*pad) }) + pad
	b.room(height + 6)
	b.y += 6
	b.stroke(ink, width)
	b.f.Rect(side, b.y, b.inner(), height+2, "D")
	if heavy {
		b.fill(ink)
		b.f.Rect(side, b.y, 5, height+2, "F")
	}
	write(side+pad, b.y+3, b.inner()-2*pad)
	b.y += height + 4
}

// measure runs do without a mark on the page.
func (b *booklet) measure(do func() float64) float64 {
	b.quiet++
	defer func() { b.quiet-- }()
	return do()
}
