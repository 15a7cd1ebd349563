package watch

import (
	"fmt"
)

// vehicleFindings answers the questions that concern no single unit: tank, fluid, heaters, supply, faults,
// bus.
func (w *Watcher) vehicleFindings(b *vehicleBook) []Finding {
	var out []Finding
	for bank := uint8(1); bank <= Banks; bank++ {
		if bank > 1 && !w.bankHeard(bank) {
			continue
		}
		out = append(out, w.judgeTank(bank, b), w.judgeFluid(bank, b), w.judgeHeater(bank, b))
	}
	return append(out, w.judgeSupply(b), w.judgeFaults(b), w.judgeBus(b))
}

func (w *Watcher) bankHeard(bank uint8) bool {
	for s := range firstOfVehicle {
		if w.now[bank][s].from != nil {
			return true
		}
	}
	return false
}

func named(check string, bank uint8) string {
	if bank > 1 {
		return fmt.Sprintf("%s, bank %d", check, bank)
	}
	return check
}

func (w *Watcher) judgeTank(bank uint8, b *vehicleBook) Finding {
	check := named("DEF tank", bank)
	level := &w.now[bank][TankLevel]
	low, high, ok := b.extremes(bank, TankLevel)
	if !ok {
		return w.lacking(check, bank, TankLevel)
	}
	f := Finding{Check: check, Level: OK, Seen: "level " + reachAndLast(low, high, level.value, 0, "%")}
	if low == 100 {
		f.Seen += ", the end of its range: full, or a sensor that does not measure"
	}
	cold, _, known := b.extremes(bank, TankTemperature)
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

func (w *Watcher) judgeFluid(bank uint8, b *vehicleBook) Finding {
	check := named("DEF quality", bank)
	c := &w.now[bank][Concentration]
	low, high, ok := b.extremes(bank, Concentration)
	p := &w.now[bank][FluidProperty]
	said := b.values[bank][FluidProperty].n > 0
	if !ok && !said {
		return w.lacking(check, bank, Concentration)
	}
	f := Finding{Check: check, Level: OK, Sure: "a vehicle's sensor, not a refractometer"}
	if ok {
		f.Seen = "concentration " + reachAndLast(low, high, c.value, 1, "%")
		if c.value < concentrationLow || c.value > concentrationHigh {
			f.Level = Watch
			f.Look = "take a sample and measure it (32.5 % by ISO 22241-1); empty and flush before the " +
				"unit is blamed"
		}
	}
	if said {
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

func (w *Watcher) judgeHeater(bank uint8, b *vehicleBook) Finding {
	check := named("DEF heaters", bank)
	line := b.values[bank][LineHeater].n > 0
	_, high, tank := b.extremes(bank, TankHeater)
	f := Finding{Check: check, Level: OK}
	errors := w.heaterErrors(bank) - b.heaters[bank]
	switch {
	case errors > 0:
		f.Level, f.Times = Watch, int(errors)
		f.Seen = fmt.Sprintf("line heater 1 says error in %d messages", errors)
		f.Look = "heater and its protection (resettable ones come back after cooling), relay, wiring"
		return f
	case !line && !tank:
		return w.lacking(check, bank, LineHeater)
	}
	if line {
		f.Seen = "line heater 1: " + stateText(&w.now[bank][LineHeater], LineHeater)
	}
	if tank {
		if line {
			f.Seen += "; "
		}
		f.Seen += "tank heater up to " + number(high, 0) + " %"
	}
	return f
}

func (w *Watcher) judgeSupply(b *vehicleBook) Finding {
	const check = "supply voltage"
	if b.supply.n == 0 {
		if b.values[0][Supply].n == 0 {
			return w.lacking(check, 0, Supply)
		}
		return notSeen(check, "the engine was not heard running")
	}
	f := Finding{Check: check, Level: OK, Seen: fmt.Sprintf("%s V with the engine running (%s V system)",
		reach(b.supply.min, b.supply.max, 1), number(systemVoltage(w.vehicle.inAll.supply.max), 0)),
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

func (w *Watcher) judgeFaults(b *vehicleBook) Finding {
	const check = CheckFaults
	if w.faults.lists == b.lists {
		return notSeen(check, "no fault list (DM1 or DM2) was heard")
	}
	f := Finding{Check: check, Level: OK}
	var active, other, before int
	for _, x := range w.Faults() {
		now, heard := b.holds(&x)
		switch {
		case now && x.Ours:
			active++
			f.When = append(f.When, x.First.Time())
			f.Seen += fmt.Sprintf("%s from %d (%s), count %s; ", x.Code, x.Source, x.Code.Explain(),
				countWord(x.Code.Count))
		case now:
			other++
		case heard:
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

func (w *Watcher) judgeBus(b *vehicleBook) Finding {
	f := Finding{Check: checkBus, Level: OK}
	if b.trip == 0 {
		f.Seen = fmt.Sprintf("%d frames in %s", w.frames, spell(w.Heard()))
		w.judgeFrames(&f)
	} else {
		f.Seen = "heard for " + spell(w.last.Sub(w.vehicle.trip.Start))
	}
	if s := &b.gaps; s.n > 0 {
		back := f
		f = f.evidence(s)
		f.Level = Watch
		f.Seen = back.Seen + fmt.Sprintf("; silent %s for up to %s in the middle of a trip", times(s.n),
			spell(s.longest))
		f.Look = "connector and wiring of the diagnostic socket and the recorder before the vehicle"
	}
	return f
}

// judgeFrames says what is wrong with the recording as a whole.
func (w *Watcher) judgeFrames(f *Finding) {
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
}
