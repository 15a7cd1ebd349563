package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"holdfast/bench/golden"
	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/j1939/unit"
)

const benchCheckSchema = "holdfast/bench-check/1"

// benchCheckAnswer is what verify-bench prints with --json.
type benchCheckAnswer struct {
	Schema    string         `json:"schema"`
	Run       string         `json:"run"`
	Rig       string         `json:"rig"`
	Reference string         `json:"reference"`
	Unit      string         `json:"unit"`
	Good      bool           `json:"good"`
	Worst     string         `json:"worst"`
	Values    []benchCheckEn `json:"values"`
}

type benchCheckEn struct {
	Name       string   `json:"name"`
	At         string   `json:"at,omitempty"`
	Unit       string   `json:"unit"`
	Reference  float64  `json:"reference"`
	ReferenceU float64  `json:"reference_expanded_uncertainty"`
	Value      *float64 `json:"value"` // null: not measured
	U          *float64 `json:"expanded_uncertainty"`
	En         *float64 `json:"en"` // null: not measured
	Agrees     bool     `json:"agrees"`
	Why        string   `json:"why,omitempty"`
}

func showCompared(out io.Writer, res *judge.Result, ref *golden.Reference, c golden.Compared, asJSON bool) error {
	if asJSON {
		return printJSON(out, benchCheckJSON(res, ref, c))
	}
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintf(w, "Bench %s against %s\n\n", res.Identity.Rig, ref.Name)
	fmt.Fprintf(w, "  value\tmeasured\treference\tunit\tEn\t\n")
	for _, p := range c.Pairs {
		v := p.Reference
		mark, said := "  ", "agrees"
		if !p.Agrees {
			mark, said = "! ", "OUT"
		}
		measured, en := "not measured", "-"
		if p.Measured.State == measure.Measured {
			measured, en = plusMinus(p.Measured.Value, p.Measured.U), fmt.Sprintf("%.2f", p.En)
		}
		fmt.Fprintf(w, "%s%s\t%s\t%s\t%s\t%s\t%s\n", mark, strings.TrimSpace(v.Name+" "+v.At), measured,
			plusMinus(v.Value, v.U), v.Unit, en, said)
	}
	if c.Good {
		fmt.Fprintf(w, "\nBENCH GOOD   every value agrees; the least so: %s\n", c.Worst)
	} else {
		fmt.Fprintf(w, "\nBENCH OUT    %s. No unit passes on it until a check with this reference is good.\n", c.Worst)
	}
	return w.Flush()
}

func plusMinus(v, u float64) string {
	value, uncertainty := unit.Format(v, u)
	return value + " ± " + uncertainty
}

func benchCheckJSON(res *judge.Result, ref *golden.Reference, c golden.Compared) benchCheckAnswer {
	a := benchCheckAnswer{Schema: benchCheckSchema, Run: res.Run, Rig: res.Identity.Rig, Reference: ref.Name,
		Unit: ref.Serial, Good: c.Good, Worst: c.Worst, Values: []benchCheckEn{}}
	for _, p := range c.Pairs {
		v := p.Reference
		j := benchCheckEn{Name: v.Name, At: v.At, Unit: v.Unit, Reference: v.Value, ReferenceU: v.U, Agrees: p.Agrees,
			Why: p.Measured.Why}
		if p.Measured.State == measure.Measured {
			j.Value, j.U = &p.Measured.Value, &p.Measured.U
			if !math.IsInf(p.En, 0) {
				j.En = &p.En
			}
		}
		a.Values = append(a.Values, j)
	}
	return a
}
