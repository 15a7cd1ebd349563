package spn

import (
	"fmt"
	"slices"
	"strconv"
	"sync"
)

// fmiTexts: SAE J1939-73, failure mode identifiers, in short words. 22..30 are reserved.
var fmiTexts = [32]string{
	0: "above normal, most severe", 1: "below normal, most severe",
	2: "erratic, intermittent or incorrect", 3: "voltage above normal or shorted high",
	4: "voltage below normal or shorted low", 5: "current below normal or open circuit",
	6: "current above normal or grounded circuit", 7: "mechanical system not responding or out of adjustment",
	8: "abnormal frequency, pulse width or period", 9: "abnormal update rate",
	10: "abnormal rate of change", 11: "root cause not known",
	12: "bad intelligent device or component", 13: "out of calibration",
	14: "special instructions", 15: "above normal, least severe",
	16: "above normal, moderately severe", 17: "below normal, least severe",
	18: "below normal, moderately severe", 19: "received network data in error",
	20: "drifted high", 21: "drifted low", 31: "condition exists",
}

// FMIText says in words what a failure mode identifier (0..31) means.
func FMIText(fmi uint8) string {
	if int(fmi) < len(fmiTexts) && fmiTexts[fmi] != "" {
		return fmiTexts[fmi]
	}
	return "reserved"
}

// Reading is what a failure mode of a parameter usually means at the bench.
type Reading struct {
	FMI                 uint8
	Text                string
	Sources, Confidence string
}

// UsualReadings returns what the failure modes of an SPN usually mean, in FMI order; nil
// where nothing is known.
func UsualReadings(number uint32) []Reading { return readings()[number] }

// UsualReading returns the usual meaning of one SPN and FMI; false where nothing is known.
func UsualReading(number uint32, fmi uint8) (Reading, bool) {
	for _, r := range readings()[number] {
		if r.FMI == fmi {
			return r, true
		}
	}
	return Reading{}, false
}

var readings = sync.OnceValue(func() map[uint32][]Reading {
	all := make(map[uint32][]Reading, 128)
	eachLine(fmiTable, func(line string) {
		f := fieldsOf(line, 7)
		fmi, err := strconv.ParseUint(f[2], 10, 5)
		if err != nil {
			panic(fmt.Sprintf("spn: fmi_notes.tsv: FMI %q", f[2]))
		}
		number := leadingNumber(line)
		all[number] = append(all[number], Reading{uint8(fmi), f[4], f[5], f[6]})
	})
	for _, list := range all {
		slices.SortStableFunc(list, func(a, b Reading) int { return int(a.FMI) - int(b.FMI) })
	}
	return all
})
