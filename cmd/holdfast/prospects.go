package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"holdfast/bench/predict"
	"holdfast/bench/rig"
	"holdfast/bench/scenario"
	"holdfast/bench/yamltext"
	"holdfast/j1939/unit"
)

// checkProspect is what one limit can come to, in JSON.
type checkProspect struct {
	Name     string   `json:"name"`
	At       string   `json:"at,omitempty"`
	Outlook  string   `json:"outlook"`
	U        float64  `json:"expanded_uncertainty,omitempty"`
	Unit     string   `json:"unit,omitempty"`
	PassFrom *float64 `json:"passes_from"` // null: open, or nothing passes
	PassTo   *float64 `json:"passes_to"`
	Largest  string   `json:"largest_contribution,omitempty"`
	Share    float64  `json:"largest_share,omitempty"` // of the variance
	Why      string   `json:"why,omitempty"`
	Needs    []string `json:"would_make_it_provable,omitempty"`
}

func checkProspects(all []predict.Prospect) []checkProspect {
	out := make([]checkProspect, 0, len(all))
	for _, p := range all {
		j := checkProspect{Name: p.Limit.Characteristic, At: p.Limit.At, Outlook: p.Outlook.String(),
			U:    fourFigures(p.U),
			Unit: p.Limit.Unit, Largest: p.Largest, Share: fourFigures(p.Share), Why: p.Why, Needs: p.Needs}
		if p.Outlook == predict.Provable {
			j.PassFrom, j.PassTo = closed(p.PassFrom), closed(p.PassTo)
		}
		out = append(out, j)
	}
	return out
}

func closed(x float64) *float64 {
	if math.IsInf(x, 0) {
		return nil
	}
	x = fourFigures(x)
	return &x
}

// fourFigures rounds to four significant digits: a prediction has no more.
func fourFigures(x float64) float64 {
	var out float64
	if _, err := fmt.Sscan(fmt.Sprintf("%.4g", x), &out); err != nil {
		return x
	}
	return out
}

// prospectText is one line of check: how well a limit will be known and what passes.
func prospectText(p predict.Prospect) (u, text string) {
	switch p.Outlook {
	case predict.NotPredicted:
		return "", "not predicted: " + p.Why
	case predict.ByPerson:
		return "", "answered by a person"
	}
	_, u = unit.Format(p.PassTo, p.U)
	if math.IsInf(p.PassTo, 0) {
		_, u = unit.Format(p.PassFrom, p.U)
	}
	if p.U == 0 {
		u = "0"
	}
	if p.Outlook == predict.OnlyUndecided {
		return u, "CAN ONLY END UNDECIDED"
	}
	if p.Outlook == predict.Doubtful {
		return u, "may end undecided: " + strings.Join(p.Needs, "; or ")
	}
	from, _ := unit.Format(p.PassFrom, p.U)
	to, _ := unit.Format(p.PassTo, p.U)
	switch {
	case p.U == 0:
		return u, "provable"
	case math.IsInf(p.PassFrom, 0):
		return u, "provable, passes up to " + to
	case math.IsInf(p.PassTo, 0):
		return u, "provable, passes from " + from
	}
	return u, fmt.Sprintf("provable, passes from %s to %s", from, to)
}

// hopeless says of every limit that can only end undecided why, and what would make it provable; nil for
// none.
func hopeless(p *scenario.Plan, r *rig.Rig, all []predict.Prospect) error {
	var out yamltext.Problems
	for _, h := range predict.Hopeless(all) {
		u, _ := prospectText(h)
		found := fmt.Sprintf("%s can only end undecided on rig %s: U will be %s (mostly %s), too large for %s",
			strings.TrimSpace(h.Limit.Characteristic+" "+h.Limit.At), r.Name, strings.TrimSpace(u+" "+h.Limit.Unit),
			h.Largest, limitText(h.Limit))
		out = append(out, yamltext.Problem{Path: p.Path, Line: h.Limit.Line, Column: h.Limit.Column, Found: found,
			Do: "to make it provable: " + strings.Join(h.Needs, "; or ")})
	}
	return out.Err()
}

// refuseHopeless ends a run before it begins when it can show nothing, unless that was accepted.
func refuseHopeless(p *scenario.Plan, r *rig.Rig, accepted bool, errOut io.Writer) error {
	err := hopeless(p, r, predict.Undecidable(p, r))
	switch {
	case err == nil:
		return nil
	case accepted:
		fmt.Fprintf(errOut, "warning: %v\n", err)
		return nil
	}
	return errors.Join(err, errors.New("nothing was moved: this plan cannot end in a pass "+
		"(--accept-undecided runs it anyway)"))
}
