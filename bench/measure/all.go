package measure

import (
	"maps"

	"holdfast/bench/characteristic"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
)

// methods says what measures each characteristic. Each file has its own for what it measures; dosing_error, of
// which there are several in a run, is measured by dosingErrors.
type methods map[string]func(*Run) Characteristic

var allMethods = merged(sensorMethods, fillingMethods, transitionMethods, holdMethods, rippleMethods, complianceMethods,
	leakMethods, massMethods, balanceMethods, purgeMethods, electricsMethods, wiringMethods)

func merged(groups ...methods) methods {
	all := methods{}
	for _, g := range groups {
		maps.Copy(all, g)
	}
	return all
}

// All is the characteristics of a recording of which nothing else is wanted.
func All(rec *samples.Recording, r *rig.Rig, p *scenario.Plan) []Characteristic {
	return Read(rec, r, p).Characteristics()
}

// Characteristics measures every characteristic of the registry, in its order, and after them what a person
// answered. What the recording does not carry is there too, not measured and with the reason.
func (b *Run) Characteristics() []Characteristic {
	out := make([]Characteristic, 0, len(characteristic.All)+3)
	for _, known := range characteristic.All {
		if known.SetPoints {
			out = append(out, b.dosingErrors(known.Name, known.Unit)...)
			continue
		}
		c := allMethods[known.Name](b)
		c.Name, c.Unit = known.Name, known.Unit
		out = append(out, c)
	}
	return append(out, b.answers()...)
}

// Find returns the first characteristic of a name (and set point, when at is not empty);
// one that is not there comes back as not measured.
func Find(all []Characteristic, name, at string) Characteristic {
	for _, c := range all {
		if c.Name == name && (at == "" || c.At == at) {
			return c
		}
	}
	return Characteristic{Name: name, At: at, Why: "not in this result"}
}
