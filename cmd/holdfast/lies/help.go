package lies

import (
	"fmt"
	"strings"

	"holdfast/bench/rig"
	"holdfast/sim/lie"
)

func names(table []lie.Signal) []string {
	var all []string
	for i := range table {
		all = append(all, table[i].Name)
	}
	return all
}

func kindNames() []string {
	var all []string
	for i := range lie.Kinds {
		all = append(all, lie.Kinds[i].Name)
	}
	return all
}

func disobedienceNames() []string {
	var all []string
	for _, d := range disobediences {
		all = append(all, d.name)
	}
	return all
}

// example is a size that is accepted.
func example(l *lie.Lie) string {
	of := distance(l.Signal.Unit)
	if of == "" {
		of = "bar"
	}
	switch l.Kind.Size {
	case lie.InPercent:
		return "5 %"
	case lie.ATime:
		return "500 ms"
	case lie.AnotherName:
		return rig.ReferencePressure.String()
	case lie.AReading:
		return "1 " + l.Signal.Unit
	case lie.InUnitPerMin:
		return "0.1 " + of + "/min"
	}
	return "0.1 " + of
}

// sizeWords name what a size may be, in help.
var sizeWords = map[lie.Size]string{lie.NoSize: "", lie.InUnit: ":SIZE", lie.AReading: ":READING",
	lie.InUnitPerMin: ":SIZE/min", lie.InPercent: ":PERCENT", lie.ATime: ":TIME", lie.AnotherName: ":CHANNEL"}

// Help is the table of lies for a command's help.
func Help() string {
	var b strings.Builder
	b.WriteString(`Lying instruments (--lie, repeatable): CHANNEL=KIND[:SIZE][@FROM..TO], times since the start of the run, names as
in the rig file, set_ before the name of a command. They act on the frames between bench and harness:
`)
	for i := range lie.Kinds {
		k := &lie.Kinds[i]
		fmt.Fprintf(&b, "  %-20s %s\n", k.Name+sizeWords[k.Size], k.Text)
	}
	b.WriteString("\nA node that does not obey, by name (--lie NAME[@FROM..TO]):\n")
	for _, d := range disobediences {
		fmt.Fprintf(&b, "  %-20s %s (%s)\n", d.name, d.text, strings.Join(d.lies, ", "))
	}
	return b.String()
}
