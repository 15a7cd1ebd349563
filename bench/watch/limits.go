package watch

import "time"

// Thresholds of the watch. Where no source is named they are common practice with no source, or examples
// for the invented reference unit; the summary says so.
const (
	// silentFor without any frame the vehicle counts as asleep: a trip has ended.
	silentFor = 10 * time.Second
	// gapFrom without any frame on a bus that speaks on is a gap. EEC1 (10 to 50 ms) alone would fill it.
	gapFrom = time.Second
	// unitGapFrom without dosing information (every 50 ms by J1939-71) the unit counts as silent.
	unitGapFrom = time.Second
	// freshFor a slow parameter (every second by J1939-71) may be used after it was last heard.
	freshFor = 5 * time.Second

	keyOnAbove     = 6.0  // V: between a dead and a switched circuit, for 12 V and 24 V alike
	runningAbove   = 400  // rpm: above cranking, below idle
	pumpRuns       = 10.0 // % drive
	pumpStands     = 1.0  // %
	valveEnergised = 50.0 // %

	primedAt      = 2.0 // bar gauge, as the bench's prime_time
	emptyBelow    = 1.0 // bar gauge: 12 steps of the sensor; a line below it is not under pressure
	primeGiveUp   = 3 * time.Minute
	dipBelow      = 1.0 // bar under nominal while dosing
	dipFor        = time.Second
	impossibleKPa = 40.0 // absolute: below the air pressure at 7000 m, so no pressure but a dead sensor
	zeroWrong     = 0.3  // bar: two steps of the sensor, the barometer and a little

	pinnedFor = 10 * time.Second // standing and running, both with one and the same reading

	driveWorn    = 80.0 // % at no dosing: little reserve left
	trendMatters = 2.0  // % of drive over what was heard
	sagMatters   = 0.3  // bar between no dosing and the highest dosing heard

	dosedEnough   = 50.0 // g before quantities are compared
	dosingWrong   = 10.0 // % between requested, actual and integrated
	insideEnough  = 95.0 // % of the dosing time inside the pressure band
	insidePoor    = 80.0
	buildUpSlow   = 60 * time.Second
	bandEnough    = time.Minute // of dosing before its share in the band is judged
	noxEnough     = 10 * time.Minute
	noxMin        = 100.0 // ppm before the catalyst
	scrHot        = 250.0 // °C
	conversionLow = 60.0  // %

	concentrationLow, concentrationHigh = 29.0, 36.0 // %: 32.5 % by ISO 22241-1 and a vehicle sensor's error
	freezesAt                           = -11.0      // °C, DEF: ISO 22241-1 names about -11.5 °C
	levelLow                            = 10.0       // %
)

// Options say what is known of the unit.
type Options struct {
	Nominal float64 // bar gauge; 0: 9 bar, common practice
	Band    float64 // bar around it; 0: 0.5 bar
}

func (o Options) withDefaults() Options {
	if o.Nominal == 0 {
		o.Nominal = 9
	}
	if o.Band == 0 {
		o.Band = 0.5
	}
	return o
}
