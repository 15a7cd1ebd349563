package rig

import "math/rand/v2"

// class is how good an instrument is: its error (expanded, k = 2) as % of reading plus an
// absolute part, and the noise of one sample (standard deviation), in the signal's unit.
type class struct {
	ofReading float64 // %
	absolute  float64
	noise     float64
}

// Instrument is one reference instrument of this bench with the error that it has.
type instrument struct {
	class
	z float64 // standard normal, drawn once: the true error is z * class/2
}

// The bench's instruments. The classes are those that the shipped rig file states (good
// industrial instruments; common practice, no source); reference gauge: 0.1 % of 16 bar.
var (
	classReference = class{0, 1.6, 0.3}       // kPa
	classFlow      = class{0.5, 0.5, 0.3}     // mL/min
	classSpeed     = class{0.2, 1, 1}         // r/min
	classVoltage   = class{0.1, 0.010, 0.003} // V
	classPumpAmps  = class{0.5, 0.010, 0.002} // A
	classCoilAmps  = class{0.5, 0.005, 0.001} // A
	classHeater    = class{0.5, 0.010, 0.005} // A
	classFeed      = class{0.1, 0.005, 0.001} // V
	classScale     = class{0, 0.02, 0.008}    // g
	classReservoir = class{0, 0.2, 0.05}      // g
	classFluid     = class{0, 0.3, 0.02}      // K
	classRoom      = class{0, 0.5, 0.02}      // K
	classBarometer = class{0, 0.1, 0.005}     // kPa
)

// Instruments is the set of one bench.
type instruments struct {
	rng                                           *rand.Rand
	reference, flow, speed                        instrument
	supply, unitVoltage, pumpCurrent, coilCurrent instrument
	sensorFeed, heaterCurrent, scale, reservoir   instrument
	fluidTemp, ambientTemp, barometer             instrument
}

// newInstruments draws the true errors of one bench.
func newInstruments(rng *rand.Rand) instruments {
	draw := func(c class) instrument { return instrument{c, rng.NormFloat64()} }
	return instruments{
		rng:       rng,
		reference: draw(classReference), flow: draw(classFlow), speed: draw(classSpeed),
		supply: draw(classVoltage), unitVoltage: draw(classVoltage),
		pumpCurrent: draw(classPumpAmps), coilCurrent: draw(classCoilAmps),
		sensorFeed: draw(classFeed), heaterCurrent: draw(classHeater),
		scale: draw(classScale), reservoir: draw(classReservoir),
		fluidTemp: draw(classFluid), ambientTemp: draw(classRoom), barometer: draw(classBarometer),
	}
}

// bias is the instrument's true error at a reading.
func (i *instrument) bias(reading float64) float64 {
	if reading < 0 {
		reading = -reading
	}
	return i.z / 2 * (i.ofReading/100*reading + i.absolute)
}

// read is what an instrument shows for a true value.
func (s *instruments) read(i *instrument, truth float64) float64 {
	return truth + i.bias(truth) + i.noise*s.rng.NormFloat64()
}
