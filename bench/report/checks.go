package report

import (
	"fmt"
	"math"

	"holdfast/bench/judge"
	"holdfast/bench/measure"
)

// checksWords is what the run says of the bench's own instruments, and what it cannot say.
type checksWords struct {
	Layers []checkLayer
	Broken []brokenCheck
	Unseen []pair // what the bench cannot see by itself, and what would show it
	Verify string // whether the rig asks for that
}

// checkLayer is one kind of checks: how many there were, and which came furthest.
type checkLayer struct{ Name, Count, Furthest string }

// brokenCheck is a check that shows an instrument to be out.
type brokenCheck struct{ Instruments, Found, Why, Next string }

var layerWords = map[measure.Layer]string{
	measure.Possible:   "can be true",
	measure.Alive:      "alive and punctual",
	measure.AtRest:     "zero at rest",
	measure.Consistent: "agree with each other",
}

// checksOf words the checks of the instruments; nil for a result that has none.
func checksOf(res *judge.Result) *checksWords {
	if res.Bench == nil || len(res.Checks) == 0 {
		return nil
	}
	w := &checksWords{Verify: capitalised(judge.VerifyWords(res.Bench)) + "."}
	for _, layer := range [...]measure.Layer{measure.Possible, measure.Alive, measure.AtRest, measure.Consistent} {
		n, broken, most := 0, 0, measure.Check{}
		for _, c := range res.Checks {
			if c.Layer != layer {
				continue
			}
			n++
			if c.Broken() {
				broken++
			}
			if math.Abs(c.Excess()) > math.Abs(most.Excess()) {
				most = c
			}
		}
		if n == 0 {
			continue
		}
		l := checkLayer{Name: capitalised(layerWords[layer]), Count: fmt.Sprintf("%d, all kept", n), Furthest: "none outside"}
		if broken > 0 {
			l.Count = fmt.Sprintf("%d, %d broken", n, broken)
		}
		if x := math.Abs(most.Excess()); x > 0 {
			l.Furthest = fmt.Sprintf("%s: %s standard uncertainties", spoken(most.Name), atMost99(x))
		}
		w.Layers = append(w.Layers, l)
	}
	for _, c := range res.Checks {
		if c.Broken() {
			w.Broken = append(w.Broken, brokenCheck{capitalised(spoken(suspectsOf(c))), capitalised(spoken(c.Found)), c.Why,
				capitalised(spoken(c.Next))})
		}
	}
	for _, u := range judge.UnseenBy(res.Bench) {
		w.Unseen = append(w.Unseen, pair{capitalised(u.What), u.Shown})
	}
	return w
}

func atMost99(x float64) string {
	if x > 99 {
		return "over 99"
	}
	return fmt.Sprintf("%.1f", x)
}

// suspectsOf names the likeliest instrument of a check, and that there are others.
func suspectsOf(c measure.Check) string {
	switch len(c.Suspects) {
	case 0:
		return "the bench"
	case 1:
		return c.Suspects[0].String()
	}
	return c.Suspects[0].String() + ", or " + c.Suspects[1].String()
}

// checks writes them into the booklet.
func (b *booklet) checks(size float64) {
	w := b.s.Checks
	if w == nil {
		return
	}
	b.heading("The bench's own instruments in this run", 40)
	var rows []tableRow
	for _, l := range w.Layers {
		rows = append(rows, tableRow{cells: []string{l.Name, l.Count, l.Furthest}})
	}
	b.table([]tableColumn{{"Checked", 0.22, false}, {"Checks", 0.2, false}, {"Furthest out (broken from 4)", 0.58, false}}, size, rows)
	if len(w.Broken) > 0 {
		rows = nil
		for _, c := range w.Broken {
			rows = append(rows, tableRow{cells: []string{c.Instruments, c.Found + "; " + c.Why, c.Next}, bold: true})
		}
		b.table([]tableColumn{{"Out", 0.2, false}, {"What shows it", 0.5, false}, {"Check at the bench", 0.3, false}}, size, rows)
	}
	b.heading("What this bench cannot see by itself", 40)
	b.para(w.Verify, 7.6, "")
	rows = nil
	for _, u := range w.Unseen {
		rows = append(rows, tableRow{cells: []string{u.Label, u.Text}})
	}
	b.table([]tableColumn{{"Nothing in a run speaks against", 0.58, false}, {"What would show it", 0.42, false}}, size, rows)
}
