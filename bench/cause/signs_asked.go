package cause

import (
	"fmt"

	"holdfast/bench/measure"
)

// The names under which a plan's questions are understood here: what a refractometer shows of the fluid, and
// whether a person saw a drip. What else is asked is judged and says nothing of causes.
const (
	askedUrea = "urea_content"
	askedDrip = "external_leak"
)

// ureaBand is % by mass of AUS 32: ISO 22241-1:2019.
var ureaBand = band{32.5, 31.8, 33.2}

// asked takes in what the person at the bench saw and read.
func (e *evidence) asked() {
	if c := measure.Find(e.chars, askedUrea, ""); c.State == measure.Measured {
		e.f[ureaRead] = feature{known: true, z: ureaBand.z(c.Value, c.U/2), normal: "fluid in order by the refractometer",
			text: fmt.Sprintf("the refractometer shows %s of urea (AUS 32: 31.8..33.2 %%)", quantity(c))}
	}
	if c := measure.Find(e.chars, askedDrip, ""); c.State == measure.Measured {
		f := feature{known: true, normal: "no drip seen"}
		if c.Said == "yes" {
			f.z, f.text = 2*atLimit, "a drip was seen under pressure"
		}
		e.f[dripSeen] = f
	}
}
