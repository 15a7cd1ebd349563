package rig

import (
	"fmt"
	"math"
)

// Altitude is how high above the sea a bench may stand, m.
type Altitude struct{ Lowest, Highest float64 }

// Relief is the mechanical relief valve on the line.
type Relief struct {
	None bool    // there is none
	At   float64 // bar gauge at which it opens
}

// Atmospheric pressure at any place where people work, bar: from 5 600 m up to the record at the sea with something to
// spare (lowest at the sea 0.870 bar, highest 1.085 bar: World Meteorological Organization, archive of extremes, from memory).
const (
	lowestAtmosphere  = 0.50
	highestAtmosphere = 1.10
	weather           = 0.06 // bar up or down from the standard atmosphere at a height
)

// StandardAtmosphere is the pressure (bar) at a height (m) by ISO 2533: p = 1.01325 (1 - 2.25577e-5 h)^5.25588, good for
// -1 000 to 11 000 m; 1 000 m give 0.8987 bar.
func StandardAtmosphere(height float64) float64 {
	return 1.01325 * math.Pow(1-2.25577e-5*height, 5.25588)
}

// Atmosphere returns the lowest and highest barometer readings (bar absolute) that can be true on this bench, and why.
func (r *Rig) Atmosphere() (low, high float64, why string) {
	if r.Altitude == nil {
		return lowestAtmosphere, highestAtmosphere, "as anywhere on land"
	}
	low = max(lowestAtmosphere, StandardAtmosphere(r.Altitude.Highest)-weather)
	high = min(highestAtmosphere, StandardAtmosphere(r.Altitude.Lowest)+weather)
	return low, high, fmt.Sprintf("as at %.0f to %.0f m", r.Altitude.Lowest, r.Altitude.Highest)
}

// withoutRelief is by how much (bar) the interlock trips earlier where nothing mechanical bounds the pressure: what the
// pump may add between the reading that trips and its standing still.
const withoutRelief = 0.5

// TripPressure is the pressure (bar gauge) at which the interlock ends a run: max_pressure, less a margin on a bench that
// says it has no relief valve.
func (r *Rig) TripPressure() float64 {
	if r.Relief != nil && r.Relief.None {
		return r.Guard.MaxPressure - withoutRelief
	}
	return r.Guard.MaxPressure
}
