package main

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"holdfast/sim/other/gauge"
	"holdfast/sim/other/plant"
)

// longest is how far one line may go on, s.
const longest = 10

// What a node may ask for in one line, added up.
const (
	hydraulics = 1 << iota
	electrics
	scale
	ambient
)

// pipe is the plant and its instruments without a node: somebody else's node asks, in its own time. A line of
// its is
//
//	NS DRIVE DUTY RETURN SHUT HEATER POWER VENT TARE WHAT
//
// time since the start in ns, two shares in %, five states and the scale's tare (0 or 1), and which groups of
// readings it wants. The answer is one line with those groups one after the other, in the units of
// bench-node.dbc, nan for the error indicator; the scale's group ends with the state of the shut-off.
func pipe(ask asked, in io.Reader, out io.Writer) error {
	run, err := ask.build()
	if err != nil {
		return err
	}
	w, b := run.node.World, run.node.Bench
	lines := bufio.NewScanner(in)
	for lines.Scan() {
		var ns int64
		var drive, duty float64
		var s [6]int
		var what int
		if _, err := fmt.Sscan(lines.Text(), &ns, &drive, &duty, &s[0], &s[1], &s[2], &s[3], &s[4], &s[5],
			&what); err != nil {
			return fmt.Errorf("line %q: %w", lines.Text(), err)
		}
		if by := float64(ns)/1e9 - w.T; !(by >= 0 && by <= longest) {
			return fmt.Errorf("line %q: goes on by %g s; expected 0 to %d s", lines.Text(), by, longest)
		}
		if err := w.Advance(float64(ns) / 1e9); err != nil {
			return err
		}
		answer := readings(b, w.Probe(), what)
		if s[5] == 1 {
			b.Tare(w.Probe())
		}
		w.Set(plant.Outputs{Drive: clip(drive), Duty: clip(duty), Return: s[0] == 1, Shut: s[1] == 1,
			Heater: s[2] == 1,
			Power:  s[3] == 1, Vent: s[4] == 1})
		if _, err := fmt.Fprintln(out, answer); err != nil {
			return err
		}
	}
	if err := lines.Err(); err != nil {
		return err
	}
	return run.write()
}

func clip(percent float64) float64 { return max(0, min(1, percent/100)) }

func readings(b *gauge.Bench, q plant.Probe, what int) string {
	var text strings.Builder
	put := func(vs ...float64) {
		for _, v := range vs {
			fmt.Fprintf(&text, "%.5f ", v)
		}
	}
	if what&hydraulics != 0 {
		v := b.Hydraulics(q)
		put(v[:]...)
	}
	if what&electrics != 0 {
		v := b.Electrics(q)
		put(v[:]...)
	}
	if what&scale != 0 {
		v := b.Masses(q)
		put(v[0], v[1], v[2], float64(int(q.Shut+0.05)))
	}
	if what&ambient != 0 {
		v := b.Ambient(q)
		put(v[:]...)
	}
	return strings.TrimSpace(text.String())
}
