package vehicle

import (
	"fmt"
	"maps"
	"slices"
	"time"

	"holdfast/j1939/clock"
)

// Options of a vehicle.
type Options struct {
	Seed  uint64
	Start clock.Instant // first key-on
	Day   []Leg         // nil: TenHours
	// Faults by name. What the number means stands in DescribeFault; 0 is none.
	Faults map[string]float64
	// Load is the bus load to fill up to with other traffic, as a share of BitRate: 0.6 of 500 000 bit/s.
	// 0: only the controllers that a truck has, about 0.3 of 250 000 bit/s.
	Load    float64
	BitRate int      // bit/s; 0: 250 000
	Silent  []uint32 // PGNs that are not on this bus
	Alone   bool     // only the aftertreatment and what goes with it: cheaper where the others do not matter
}

// Leg is one key cycle.
type Leg struct {
	Key time.Duration // from key-on to key-off
	Off time.Duration // from key-off to the next key-on; the after-run is in it
}

// TenHours is a day of six legs.
func TenHours() []Leg {
	return []Leg{{130 * time.Minute, 25 * time.Minute}, {95 * time.Minute, 45 * time.Minute},
		{70 * time.Minute, 15 * time.Minute}, {110 * time.Minute, 20 * time.Minute}, {40 * time.Minute,
			10 * time.Minute},
		{38 * time.Minute, 5 * time.Minute}}
}

// Faults by name.
const (
	SlowLeak      = "slow-leak"
	PurgeCut      = "purge-cut"
	SensorSupply  = "sensor-supply"
	SensorStuck   = "sensor-stuck"
	SensorOffset  = "sensor-offset"
	FilterBlocked = "filter-blocked"
	PumpWorn      = "pump-worn"
	SuctionAir    = "suction-air"
	DoserBlocked  = "doser-blocked"
	WeakFluid     = "weak-fluid"
	DieselInTank  = "diesel-in-tank"
	NoConversion  = "no-conversion"
	SupplySag     = "supply-sag"
	UnitSilent    = "unit-silent"
	BusGap        = "bus-gap"
	HeaterError   = "heater-error"
	Frozen        = "frozen"
	TankEmpty     = "tank-empty"
	FaultCode     = "fault-code"
)

var faults = map[string]struct {
	most  float64
	words string
}{
	SlowLeak:      {100, "leak inside the unit that grows over the day to so many mL/min at 9 bar"},
	PurgeCut:      {100, "battery switch thrown during so many of the after-runs"},
	SensorSupply:  {100, "supply of the pressure sensor lost so many times a day, 5 to 40 s each"},
	SensorStuck:   {1, "1: pressure reading stands still from the second hour on"},
	SensorOffset:  {3, "pressure sensor reads so many bar too much"},
	FilterBlocked: {1, "main filter blocked, 0 to 1"},
	PumpWorn:      {0.8, "pump delivers this share less, 0 to 0.8"},
	SuctionAir:    {1, "air drawn in: priming slow, from 0.7 on it fails at first"},
	DoserBlocked:  {0.9, "this share of what was requested is not dosed"},
	WeakFluid:     {30, "DEF concentration so many % too low"},
	DieselInTank:  {1, "1: the fluid is diesel"},
	NoConversion:  {1, "this share of the conversion is missing"},
	SupplySag:     {100, "supply breaks down so many times a day"},
	UnitSilent:    {100, "the unit's controller says nothing so many times a day, 3 to 20 s each"},
	BusGap:        {100, "the bus is dead so many times a day, 2 to 8 s each"},
	HeaterError:   {1, "1: line heater 1 says error"},
	Frozen:        {1, "1: fluid at -15 °C, the unit does not prime"},
	TankEmpty:     {1, "1: tank at 4 %"},
	FaultCode:     {1, "1: DM1 with SPN 4334 FMI 18 from the exhaust controller"},
}

// FaultNames are the names of all faults, sorted.
func FaultNames() []string { return slices.Sorted(maps.Keys(faults)) }

// DescribeFault says what a fault is and what its number means.
func DescribeFault(name string) string { return faults[name].words }

func (o *Options) check() error {
	for name, v := range o.Faults {
		f, ok := faults[name]
		switch {
		case !ok:
			return fmt.Errorf("simulated vehicle has no fault %q; it has %v", name, FaultNames())
		case !(v >= 0 && v <= f.most):
			return fmt.Errorf("fault %s: %v is not from 0 to %v (%s)", name, v, f.most, f.words)
		}
	}
	for _, l := range o.Day {
		if l.Key < time.Minute || l.Off < 2*time.Minute {
			return fmt.Errorf("a leg needs at least 1 min with the key on and 2 min off, for the after-run")
		}
	}
	if o.Load < 0 || o.Load > 0.95 {
		return fmt.Errorf("bus load %v: 0 to 0.95", o.Load)
	}
	return nil
}
