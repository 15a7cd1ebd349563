package watch

import (
	"fmt"

	"holdfast/j1939/spn"
)

// vehicleFindings answers the questions that concern no single unit: tank, fluid, heaters, supply, faults,
// bus.
func (w *Watcher) vehicleFindings() []Finding {
	var out []Finding
	for bank := uint8(1); bank <= Banks; bank++ {
		if bank > 1 && !w.bankHeard(bank) {
			continue
		}
		out = append(out, w.judgeTank(bank), w.judgeFluid(bank), w.judgeHeater(bank))
	}
	return append(out, w.judgeSupply(), w.judgeFaults(), w.judgeBus())
}

func (w *Watcher) bankHeard(bank uint8) bool {
	for s := range firstOfVehicle {
		if w.now[bank][s].from != nil {
			return true
		}
	}
	return false
}

// lowest and highest valid value of a signal over everything heard, from its leading source.
func (c *current) extremes(s Signal) (low, high float64, ok bool) {
	if c.from == nil {
		return 0, 0, false
	}
	for i := range c.from.fields {
		if d := &c.from.fields[i]; d.signal == s && c.from.values[i].counts[spn.Valid] > 0 {
			v := &c.from.values[i]
			if d.parameter.Kind != spn.Measured {
				return float64(v.min), float64(v.max), true
			}
			return d.parameter.Scale.Value(v.min), d.parameter.Scale.Value(v.max), true
		}
	}
	return 0, 0, false
}

func (w *Watcher) lacking(check string, s Signal) Finding {
	return notSeen(check, fmt.Sprintf("%s (SPN %d) is not on this bus as a number", s, followed[s].spn))
}

func named(check string, bank uint8) string {
	if bank > 1 {
		return fmt.Sprintf("%s, bank %d", check, bank)
	}
	return check
}

func (w *Watcher) judgeTank(bank uint8) Finding {
	check := named("DEF tank", bank)
	level := &w.now[bank][TankLevel]
	low, high, ok := level.extremes(TankLevel)
	if !ok {
		return w.lacking(check, TankLevel)
	}
	f := Finding{Check: check, Level: OK, Seen: fmt.Sprintf("level %s to %s %%, last %s %%", number(low, 0),
		number(high, 0), number(level.value, 0))}
	cold, _, known := w.now[bank][TankTemperature].extremes(TankTemperature)
	if known {
		f.Seen += fmt.Sprintf("; coldest %s °C", number(cold, 0))
	}
	if level.value < levelLow {
		f.Level, f.Look = Watch, "fill the tank; a sensor that reads low looks the same"
	}
	if known && cold < freezesAt {
		f.Level, f.Look = Watch, "fluid below its freezing point: no unit primes then; heaters of tank "+
			"and lines, not the pump"
	}
	return f
}

// Readings of SPN 3521.
const (
	propertyTooHigh = 0
	propertyTooLow  = 1
	propertyDiesel  = 2
)

func (w *Watcher) judgeFluid(bank uint8) Finding {
	check := named("DEF quality", bank)
	c := &w.now[bank][Concentration]
	low, high, ok := c.extremes(Concentration)
	p := &w.now[bank][FluidProperty]
	if !ok && p.from == nil {
		return w.lacking(check, Concentration)
	}
	f := Finding{Check: check, Level: OK, Sure: "a vehicle's sensor, not a refractometer"}
	if ok {
		f.Seen = fmt.Sprintf("concentration %s to %s %%, last %s %%", number(low, 1), number(high, 1),
			number(c.value, 1))
		if c.value < concentrationLow || c.value > concentrationHigh {
			f.Level = Watch
			f.Look = "take a sample and measure it (32.5 % by ISO 22241-1); empty and flush before the " +
				"unit is blamed"
		}
	}
	if p.from != nil {
		f.Seen += "; property: " + stateText(p, FluidProperty)
		switch p.value {
		case propertyDiesel:
			f.Level, f.Look = Act, "do not run the unit: take a sample; diesel swells membranes and seals "+
				"(common practice, no source)"
		case propertyTooHigh, propertyTooLow:
			f.Level = max(f.Level, Watch)
			f.Look = "take a sample and measure it (32.5 % by ISO 22241-1)"
		}
	}
	return f
}

func stateText(c *current, s Signal) string {
	for i := range c.from.fields {
		if d := &c.from.fields[i]; d.signal == s {
			return d.parameter.Text(uint64(c.value))
		}
	}
	return ""
}

func (w *Watcher) judgeHeater(bank uint8) Finding {
	check := named("DEF heaters", bank)
	line, tank := &w.now[bank][LineHeater], &w.now[bank][TankHeater]
	var errors uint64
	for _, s := range w.all {
		for i := range s.fields {
			if d := &s.fields[i]; d.signal == LineHeater && d.bank == bank {
				errors += s.values[i].counts[spn.ErrorState]
			}
		}
	}
	f := Finding{Check: check, Level: OK}
	switch {
	case errors > 0:
		f.Level, f.Times = Watch, int(errors)
		f.Seen = fmt.Sprintf("line heater 1 says error in %d messages", errors)
		f.Look = "heater and its protection (resettable ones come back after cooling), relay, wiring"
		return f
	case line.from == nil && tank.from == nil:
		return w.lacking(check, LineHeater)
	}
	if line.from != nil {
		f.Seen = "line heater 1: " + stateText(line, LineHeater)
	}
	if _, high, ok := tank.extremes(TankHeater); ok {
		if f.Seen != "" {
			f.Seen += "; "
		}
		f.Seen += "tank heater up to " + number(high, 0) + " %"
	}
	return f
}

func (w *Watcher) judgeSupply() Finding {
	const check = "supply voltage"
	b := &w.vehicle.supplyAll
	if b.n == 0 {
		if w.now[0][Supply].from == nil {
			return w.lacking(check, Supply)
		}
		return notSeen(check, "the engine was not heard running")
	}
	f := Finding{Check: check, Level: OK, Seen: fmt.Sprintf("%s to %s V with the engine running (%s V "+
		"system)",
		number(b.min, 1), number(b.max, 1), number(systemVoltage(b.max), 0)),
		Sure: "where the sender measures it, not at the unit"}
	if b.low.n > 0 {
		f = f.evidence(&b.low)
		f.Level = Watch
		f.Seen += fmt.Sprintf("; %s below three quarters of it, longest %s", times(b.low.n),
			spell(b.low.longest))
		f.Look = "alternator, battery, main ground"
	}
	return f
}

func (w *Watcher) judgeFaults() Finding {
	const check = CheckFaults
	if w.faults.lists == 0 {
		return notSeen(check, "no fault list (DM1 or DM2) was heard")
	}
	f := Finding{Check: check, Level: OK}
	var active, other, before int
	for _, x := range w.Faults() {
		switch {
		case x.Ours && (x.Active || x.Appeared > 0):
			active++
			f.When = append(f.When, x.First.Time())
			f.Seen += fmt.Sprintf("%s from %d (%s), count %s; ", x.Code, x.Source, x.Code.Explain(),
				countWord(x.Code.Count))
		case x.Active || x.Appeared > 0:
			other++
		default:
			before++
		}
	}
	f.Times = active
	f.Seen += fmt.Sprintf("%d active of the aftertreatment, %d of others, %d previously active", active,
		other, before)
	if active > 0 {
		f.Level, f.Look = Act, "what the codes name, by the vehicle maker's procedure; a code about a "+
			"sensor is first about its supply and wiring"
	}
	return f
}

func countWord(n uint8) string {
	switch n {
	case 127:
		return "not available"
	case 126:
		return "126 or more"
	}
	return fmt.Sprint(n)
}

func (w *Watcher) judgeBus() Finding {
	f := Finding{Check: "bus", Level: OK, Seen: fmt.Sprintf("%d frames in %s", w.frames, spell(w.Heard()))}
	if w.beyond > 0 {
		f.Level = Watch
		f.Seen += fmt.Sprintf("; %d frames of more senders than can be followed", w.beyond)
		f.Look = "is this J1939, and one vehicle?"
	}
	if w.back > 0 {
		f.Level = Watch
		f.Seen += fmt.Sprintf("; the time stamps went back %s", times(w.back))
		f.Look = "the recorder's clock: nothing is said across such a place"
	}
	if s := &w.gaps; s.n > 0 {
		back := f
		f = f.evidence(s)
		f.Level = Watch
		f.Seen = back.Seen + fmt.Sprintf("; silent %s for up to %s in the middle of a trip", times(s.n),
			spell(s.longest))
		f.Look = "connector and wiring of the diagnostic socket and the recorder before the vehicle"
	}
	return f
}
