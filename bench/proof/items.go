package proof

import (
	"fmt"
	"slices"
	"time"

	"holdfast/bench/rig"
)

// atRest is what each channel may read while nothing is driven, in its unit: wide enough for every shop, narrow enough to
// tell a signal that is scaled or wired wrongly. Common practice, no source.
var atRest = map[rig.Channel][2]float64{
	rig.LinePressure: {-restPressure, restPressure}, rig.ReferencePressure: {-restPressure, restPressure},
	rig.PumpSpeed: {-60, 60}, rig.PumpDrive: {0, 1}, rig.PumpCurrent: {-0.1, 0.1}, rig.ReturnValveCurrent: {-0.05, 0.05},
	rig.HeaterCurrent: {-0.1, 0.1}, rig.ReturnFlow: {-5, 5}, rig.DosingRate: {-1, 1}, rig.TankLevel: {0, 100},
	rig.TankTemperature: {-15, 60}, rig.FluidTemperature: {-15, 60}, rig.AmbientTemperature: {-20, 60},
	rig.SensorSupplyVoltage: {4.5, 5.5}, rig.EmergencyStop: {0, 0}, rig.GuardClosed: {1, 1}, rig.ReturnShutoffState: {0, 0},
	rig.OutputsEnabled: {1, 1},
}

// channels looks at every channel: heard, valid, at its rate, at rest.
func (l *look) channels() {
	for _, in := range l.rig.Channels {
		if in == nil {
			continue
		}
		h := l.heard[in.Channel]
		what := in.Channel.String()
		if h.times == 0 {
			l.add(Bad, what, "not heard", "a message every "+in.Every.String())
			continue
		}
		l.rate(in, h)
		if h.invalid == h.times {
			state := Bad
			if in.PartOfUnit { // without a unit there is nothing to read
				state = NotTested
			}
			l.add(state, what, "error or not available", "a reading")
			continue
		}
		l.rest(in, h)
	}
}

// rate holds the time between readings against the declared interval: within a quarter of it in the mean, and never three
// of them.
func (l *look) rate(in *rig.Instrument, h heard) {
	if h.times < 3 {
		l.add(verdict(in.Every > lookFor/3), in.Channel.String()+" rate", fmt.Sprintf("%d messages in %.1f s", h.times, lookFor.Seconds()),
			"every "+in.Every.String())
		return
	}
	mean := h.at.Sub(h.first) / time.Duration(h.times-1)
	good := mean > in.Every*3/4 && mean < in.Every*5/4 && h.longest < 3*in.Every+20*time.Millisecond
	if !good {
		l.add(Bad, in.Channel.String()+" rate", fmt.Sprintf("every %.1f ms, at most %.1f ms", ms(mean), ms(h.longest)),
			"every "+in.Every.String())
	}
}

func (l *look) rest(in *rig.Instrument, h heard) {
	low, high, known := l.possible(in.Channel)
	found := fmt.Sprintf("%.4g to %.4g %s", h.low, h.high, in.Channel.Unit())
	if in.Channel.IsState() {
		found = fmt.Sprintf("%.0f", h.last)
		if words, ok := in.Channel.States(); ok {
			found = words[int(h.last)]
		}
		h.low, h.high = h.last, h.last // it may have changed when the node woke
	}
	if !known {
		l.add(Good, in.Channel.String(), found, "heard")
		return
	}
	wanted := fmt.Sprintf("%.4g to %.4g %s at rest", low, high, in.Channel.Unit())
	if words, ok := in.Channel.States(); ok {
		wanted = words[int(low)]
	}
	l.add(verdict(h.low >= low && h.high <= high), in.Channel.String(), found, wanted)
}

func (l *look) possible(c rig.Channel) (low, high float64, known bool) {
	switch c {
	case rig.AmbientPressure:
		low, high, _ = l.rig.Atmosphere()
		return low, high, true
	case rig.SupplyVoltage, rig.UnitVoltage:
		if l.rig.Guard.MinVoltage > 0 {
			return l.rig.Guard.MinVoltage, 2 * l.rig.Guard.MinVoltage, true
		}
	}
	bounds, known := atRest[c]
	return bounds[0], bounds[1], known
}

// node looks at what the node says of itself.
func (l *look) node() {
	if len(l.rig.Counters) == 0 {
		l.add(NotTested, "instrument counters", "the rig maps none", "one a message: a node that repeats old readings is seen by it")
	}
	for _, c := range l.rig.Counters {
		m := l.counts[c.Channel]
		what := "counter of " + c.Channel.String()
		switch {
		case m.heard == 0:
			l.add(NotTested, what, "not sent", "it may be left out")
		case m.heard < 3:
			l.add(NotTested, what, fmt.Sprintf("heard %d times", m.heard), "moving")
		default:
			l.add(verdict(m.moved > 0), what, fmt.Sprintf("moved %d times in %d messages", m.moved, m.heard), "moving")
		}
	}
	if len(l.loops) == 0 {
		l.add(NotTested, "latency", "the node sends no echo of its commands", "it may be left out")
		return
	}
	slices.Sort(l.loops)
	worst, median := l.loops[len(l.loops)-1], l.loops[len(l.loops)/2]
	l.add(verdict(worst <= loopLimit), "latency", fmt.Sprintf("a command and its echo: median %.0f ms, at most %.0f ms, of %d", ms(median),
		ms(worst), len(l.loops)), fmt.Sprintf("at most %.0f ms", ms(loopLimit)))
}

// loopLimit is the longest way of a command to the node and of its echo back: a cycle, the node's own tick and a busy bus.
const loopLimit = 100 * time.Millisecond

// shutoff lets the return shut-off be seen to shut and to open. Everything else is at rest: nothing is shut in.
func (l *look) shutoff(rest rig.Outputs) error {
	const what = "return shut-off"
	if l.rig.Commands[rig.SetVent] != nil {
		l.add(NotTested, "vent valve", "no channel shows it", "look and listen while a run relieves the line")
	}
	switch {
	case l.rig.Commands[rig.SetReturnShutoff] == nil:
		return nil
	case l.rig.Channels[rig.ReturnShutoffState] == nil:
		l.add(NotTested, what, "no channel shows it", "map return_shutoff_state")
		return nil
	}
	shut := rest
	shut[rig.SetReturnShutoff] = 1
	for _, move := range []struct {
		out  rig.Outputs
		word string
		want float64
	}{{shut, "shuts", 1}, {rest, "opens", 0}} {
		began := l.next
		if err := l.hold(move.out, moveFor); err != nil {
			return err
		}
		h := l.heard[rig.ReturnShutoffState]
		if h.last != move.want {
			l.add(Bad, what+" "+move.word, "not seen to", "within "+moveFor.String())
			continue
		}
		l.add(Good, what+" "+move.word, fmt.Sprintf("seen after %.0f ms", ms(h.changed.Sub(began))), "within "+moveFor.String())
	}
	return nil
}

// timeOut stops commanding with the shut-off shut, and sees the node open it and say that its outputs are off.
func (l *look) timeOut(rest rig.Outputs) error {
	in := l.rig.Channels[rig.OutputsEnabled]
	if in == nil {
		l.add(NotTested, "time-out", "no channel shows it", "map outputs_enabled")
		return nil
	}
	shut := rest
	shut[rig.SetReturnShutoff] = 1
	if l.rig.Commands[rig.SetReturnShutoff] == nil {
		shut[rig.SetReturnShutoff] = 0
	}
	if err := l.hold(shut, moveFor); err != nil {
		return err
	}
	before := l.heard[rig.OutputsEnabled].last
	fell := l.next
	if err := l.silent(quietFor); err != nil {
		return err
	}
	h := l.heard[rig.OutputsEnabled]
	allowed := l.rig.NodeTimeout + in.Every + 2*l.rig.Cycle
	after := h.changed.Sub(fell)
	switch {
	case before != 1:
		l.add(Bad, "time-out", "the node does not follow commands at all", "outputs_enabled: yes while it is commanded")
	case h.last != 0:
		l.add(Bad, "time-out", fmt.Sprintf("still enabled %.0f ms after the last command", ms(quietFor)), "off within "+allowed.String())
	default:
		l.add(verdict(after <= allowed && after >= l.rig.NodeTimeout/2), "time-out", fmt.Sprintf("off %.0f ms after the last command", ms(after)),
			fmt.Sprintf("node_timeout %v, and at most %v until it is seen", l.rig.NodeTimeout, allowed))
	}
	if shut[rig.SetReturnShutoff] == 1 && l.rig.Channels[rig.ReturnShutoffState] != nil {
		state := l.heard[rig.ReturnShutoffState].last
		found := "the shut-off has opened by itself"
		if state != 0 {
			found = "the shut-off is still shut"
		}
		l.add(verdict(state == 0), "safe state", found, "shut-off open, whatever was commanded last")
	} else {
		l.add(NotTested, "safe state", "no output that is seen was driven", "")
	}
	if err := l.hold(rest, moveFor/3); err != nil {
		return err
	}
	again := l.heard[rig.OutputsEnabled]
	l.add(verdict(again.last == 1), "takes commands again", fmt.Sprintf("%.0f ms after the first", ms(max(0, again.changed.Sub(fell)-quietFor))), "yes")
	return nil
}

func ms(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }
