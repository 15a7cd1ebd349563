package name

import (
	_ "embed"
	"fmt"
	"strconv"
	"strings"
	"sync"
)

//go:embed functions.tsv
var functionsText string

// functionKey: industry group and vehicle system are -1 for functions that do not depend on them.
type functionKey struct{ group, system, function int }

var functions = sync.OnceValue(func() map[functionKey]string {
	all := map[functionKey]string{}
	for line := range strings.Lines(functionsText) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		cells := strings.Split(strings.TrimSpace(line), "\t")
		if len(cells) != 4 {
			panic(fmt.Sprintf("name: functions.tsv has the line %q", line))
		}
		var n [3]int
		for i := range n {
			var err error
			if n[i], err = strconv.Atoi(cells[i]); err != nil {
				panic(fmt.Sprintf("name: functions.tsv: %v in %q", err, line))
			}
		}
		all[functionKey{n[0], n[1], n[2]}] = cells[3]
	}
	return all
})

var industryGroups = [8]string{"global", "on-highway", "agriculture and forestry", "construction", "marine",
	"industrial and stationary", "reserved (6)", "not available"}

// IndustryGroupText is the industry group in words.
func (f *Fields) IndustryGroupText() string { return industryGroups[f.IndustryGroup&7] }

// FunctionText is the function in words: "exhaust emission control"; with its number where it is not known
// here.
func (f *Fields) FunctionText() string {
	all := functions()
	group, system := int(f.IndustryGroup), int(f.VehicleSystem)
	for _, key := range []functionKey{{-1, -1, int(f.Function)}, {group, system, int(f.Function)}} {
		if text := all[key]; text != "" {
			return text
		}
	}
	if f.Function == 255 {
		return "not available"
	}
	return fmt.Sprintf("function %d", f.Function)
}

// Words describes the NAME for a person: function, instance, industry, manufacturer, and whether it may change
// address.
func (f *Fields) Words() string {
	var b strings.Builder
	b.WriteString(f.FunctionText())
	if f.FunctionInstance > 0 || f.ECUInstance > 0 {
		fmt.Fprintf(&b, " (instance %d, ECU %d)", f.FunctionInstance, f.ECUInstance)
	}
	fmt.Fprintf(&b, ", %s", f.IndustryGroupText())
	if f.VehicleSystem > 0 || f.VehicleSystemInstance > 0 {
		fmt.Fprintf(&b, ", vehicle system %d/%d", f.VehicleSystem, f.VehicleSystemInstance)
	}
	fmt.Fprintf(&b, ", manufacturer code %d, identity %d", f.Manufacturer, f.Identity)
	if f.Arbitrary {
		b.WriteString(", may move")
	}
	return b.String()
}
