package report

import (
	"fmt"
	"image/color"
	"strings"

	"holdfast/bench/judge"
)

// top writes what a person looks for first: the unit and the verdict.
func (b *booklet) top() {
	const wide = 0.37 // share of the column for the unit
	left := b.inner() * wide
	y := b.block(side, b.y, left-12, 8, "", "Unit")
	y = b.block(side, y, left-12, 17, "B", b.s.Serial)
	y = b.block(side, y, left-12, body, "", b.s.Hours)
	y = b.block(side, y, left-12, body, "", b.s.StartedAt)
	if b.s.Cert != nil {
		y = b.block(side, y, left-12, body, "B", "Certificate "+b.s.Cert.Number)
	}
	x, w := side+left, b.inner()-left
	word := strings.ToUpper(b.s.Word)
	height := b.measure(func() float64 {
		return b.verdictText(x+12, 6, w-24, word)
	}) + 10
	b.verdictFrame(x, b.y+4, w, height)
	end := b.verdictText(x+12, b.y+8, w-24, word)
	b.y = max(y, end, b.y+4+height) + 4
}

// verdictText writes the verdict, why it is that, and the limits that were not kept.
func (b *booklet) verdictText(x, y, w float64, word string) float64 {
	y = b.block(x, b.block(x, y, w, 26, "B", word), w, body+0.6, "", b.s.Headline+".")
	for _, text := range b.s.HowMuch {
		y = b.block(x, y, w, body+0.6, "B", text)
	}
	return y
}

// verdictFrame tells pass, fail and the rest apart without colour: a double frame, a heavy one, a dashed one.
func (b *booklet) verdictFrame(x, y, w, h float64) {
	good := color.NRGBA{R: 0x1e, G: 0x5c, B: 0x38, A: 0xff}
	switch b.s.Verdict {
	case judge.Pass:
		b.stroke(good, 1)
		b.f.Rect(x, y, w, h, "D")
		b.f.Rect(x+3, y+3, w-6, h-6, "D")
	case judge.Fail, judge.Tripped:
		b.fill(color.NRGBA{R: 0xf3, G: 0xe3, B: 0xe1, A: 0xff})
		b.stroke(danger, 3.5)
		b.f.Rect(x, y, w, h, "FD")
	default:
		b.stroke(ink, 1.4)
		b.f.SetDashPattern([]float64{5, 3}, 0)
		b.f.Rect(x, y, w, h, "D")
		b.f.SetDashPattern(nil, 0)
	}
}

// notices writes what must not be missed: a simulation, what to do now, whether the line may be opened.
func (b *booklet) notices() {
	if b.s.Simulation != "" {
		b.notice("Simulated.", "No real unit was tested; "+b.s.Simulation+".", 0.7)
	}
	if b.s.Next != "" {
		b.notice("Now.", b.s.Next, 0.7)
	}
	width := 0.7
	if !b.s.Safe {
		width = 2
	}
	b.notice("The line.", b.s.Ending, width)
}

func (b *booklet) notice(label, text string, width float64) {
	b.boxed(width, false, func(x, y, w float64) float64 { return b.block(x, y, w, body, "", label+" "+text) })
}

func (b *booklet) certificate() {
	c := b.s.Cert
	if c == nil {
		return
	}
	b.heading("Certificate", 40)
	b.facts(append(append([]pair{{"Number", c.Number}}, c.Facts...), pair{"Conformity", c.Conformity}))
	b.para("The results relate only to the unit named here, as it was on the day of the test. This "+
		"certificate may be "+
		"copied only whole.", 7.6, "")
}

func (b *booklet) likely() {
	if b.s.NoCause != "" {
		b.notice("Cause.", b.s.NoCause, 0.9)
	}
	c := b.s.Likely
	if c == nil {
		return
	}
	b.boxed(1, false, func(x, y, w float64) float64 {
		y = b.block(x, y, w, body, "", "Most likely")
		y = b.block(x, y, w, 13, "B", c.Title+"  "+c.Probability)
		y = b.block(x, y, w, body, "", c.Evidence)
		if c.OpenFirst != "" {
			y = b.block(x, y, w, body, "B", c.OpenFirst)
		}
		for _, o := range b.s.Others {
			y = b.block(x, y, w, 7.8, "", o.Title+", "+o.Probability+". "+o.Evidence)
		}
		return y
	})
}

func (b *booklet) warnings() {
	if len(b.s.Warnings) == 0 {
		return
	}
	b.heading("Warnings", 14)
	b.bullets(b.s.Warnings)
}

func (b *booklet) bullets(all []string) {
	for _, text := range all {
		for i, line := range b.lines(text, body, "", b.inner()-12) {
			b.room(body * leading)
			b.y += body * leading
			if i == 0 {
				b.put(side+2, b.y-0.28*body, body, "", "•")
			}
			b.put(side+12, b.y-0.28*body, body, "", line)
		}
	}
	b.y += 3
}

// figures draws the plots as vectors, as wide as the column.
func (b *booklet) figures() {
	if f := b.s.Timeline; f != nil {
		b.figure(plotWords{Name: "The run", Figure: f, Keys: true,
			Caption: b.s.Legend.below()})
	}
	for _, p := range b.s.Plots {
		b.figure(p)
	}
}

func (b *booklet) figure(p plotWords) {
	f := *p.Figure
	const flatter = 0.86 // than on a screen, so that a plot and a table share a page
	scale := b.inner() / f.width
	f.width *= scale
	heights := make([]float64, len(f.heights))
	for i, h := range f.heights {
		heights[i] = h * scale * flatter
	}
	f.heights = heights
	b.heading(p.Name, f.height()+24)
	f.draw(newPDFCanvas(b.f, side, b.y+f.height()))
	b.f.SetDashPattern(nil, 0)
	b.y += f.height() + 2
	text := p.Caption
	if p.Keys {
		text = b.s.Legend.words() + text
	}
	b.para(text, 7.6, "")
}

func (b *booklet) circumstances() {
	c := b.s.Cert
	if c == nil {
		return
	}
	b.heading("Conditions and deviations", 40)
	all := c.Conditions
	for i, d := range c.Deviations {
		label := ""
		if i == 0 {
			label = "Deviations"
		}
		all = append(all, pair{label, d})
	}
	b.facts(all)
}

func (b *booklet) cautions() {
	b.boxed(0.5, true, func(x, y, w float64) float64 {
		y = b.block(x+4, y, w-4, 9.5, "B", "Before you open anything")
		for _, c := range b.s.Cautions {
			y = b.block(x+4, y+1, w-4, body, "", c.Label+". "+c.Text)
		}
		return b.block(x+4, y+2, w-4, body, "", b.s.Deferral)
	})
}

func (b *booklet) about() {
	b.heading("What was tested, and how", 60)
	s := b.s
	lost := "not known"
	if s.Recording != nil {
		lost = fmt.Sprint(s.Recording.FramesLost)
	}
	scenarioText, rigText := s.Identity.Scenario, s.Identity.Rig
	if s.Plan != nil && s.Plan.Title != "" {
		scenarioText += ": " + s.Plan.Title
	}
	if s.Bench != nil && s.Bench.Title != "" {
		rigText += ": " + s.Bench.Title
	}
	b.facts([]pair{{"Serial", s.Serial}, {"Hours", s.Hours}, {"Run", s.Run}, {"Started", s.StartedAt},
		{"Scenario", scenarioText}, {"Rig", rigText}, {"Bus", s.Bus}, {"Frames lost", lost},
		{"Limits", orUnknown(s.LimitsFrom)}, {"Decision rule", s.RuleWords},
		{"Bench check", s.BenchCheck}, {"Program", "holdfast " + s.Version}})
}

// proof writes the hashes, the code, and the end.
func (b *booklet) proof() {
	c := b.s.Cert
	if c == nil {
		return
	}
	const codeSide = 92.0
	b.heading("Proof", codeSide+40)
	from := b.y + 4
	if c.Code != nil {
		b.code(c.Code, side, from, codeSide)
	}
	y := from
	for _, h := range c.Hashes {
		y = b.block(side+codeSide+10, y, b.inner()-codeSide-10, 7.6, "", h.Label+": "+h.Text)
	}
	y = b.block(side+codeSide+10, y+3, b.inner()-codeSide-10, 7.6, "",
		"SHA-256 of the record's files; the code holds the number, "+
			"the run, the hash of the whole record and the key. The record is signed (Ed25519): "+
			"\"holdfast verify\" names any byte "+
			"that was changed since.")
	b.y = max(y, from+codeSide) + 10
	b.rule(b.y, 1)
	end := "End of certificate " + c.Number
	b.font(9, "B")
	b.put((b.width-b.f.GetStringWidth(end))/2, b.y+13, 9, "B", end)
}

// code draws the QR code in a square.
func (b *booklet) code(c *code, x, y, size float64) {
	module := size / float64(c.size+2*quiet)
	b.fill(color.NRGBA{A: 0xff})
	c.rows(func(cx, cy, length int) {
		b.f.Rect(x+float64(cx+quiet)*module, y+float64(cy+quiet)*module, float64(length)*module, module, "F")
	})
}
