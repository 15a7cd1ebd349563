package rigfile

import (
	"fmt"
	"math"
	"strconv"

	"holdfast/bench/rig"
	"holdfast/bench/yamltext"
	"holdfast/j1939/id"
	"holdfast/j1939/spn"
	"holdfast/j1939/unit"
)

// found is a signal with what its definition says about the quantity it carries.
type found struct {
	rig.Signal
	unit     string
	min, max float64 // in that unit; both 0: not stated
	cycleMs  float64 // how often it is sent; 0: not stated
}

const signalExample = "Message.Signal of the DBC file, {spn: 4334} or " +
	"{pgn: 65297, start: 0, length: 16, scale: 0.05, offset: 0, unit: kPa}"

// signal reads where a channel or command stands. ok is false after a problem.
func (p *parsing) signal(f *yamltext.Fields) (s found, ok bool) {
	n := f.Need("signal", signalExample)
	switch {
	case n == nil:
		return s, false
	case n.Kind == yamltext.Map && n.Entry("spn") != nil:
		return p.spnSignal(p.Fields(n, "signal"))
	case n.Kind == yamltext.Map:
		return p.ownSignal(p.Fields(n, "signal"))
	}
	name := f.String("signal", signalExample)
	if name == "" {
		return s, false
	}
	if p.db == nil {
		if !p.dbNamed { // an unreadable one is told once, not at every signal
			p.Add(n, "signal: "+yamltext.Clip(name), errNoDatabase.Error())
		}
		return s, false
	}
	return p.dbcSignal(n, name)
}

func (p *parsing) dbcSignal(n *yamltext.Node, name string) (found, bool) {
	s, def, err := p.db.find(name)
	if err != nil {
		p.Add(n, "signal: "+err.Error(), "")
		return found{}, false
	}
	return found{Signal: s, unit: def.Unit, min: def.Minimum, max: def.Maximum,
		cycleMs: p.db.cycleMs[uint32(def.message.MessageID)]}, true
}

// ownSignal reads {pgn, from, start, length, scale, offset, unit}.
func (p *parsing) ownSignal(f *yamltext.Fields) (s found, ok bool) {
	pgn, ok1 := f.Whole("pgn", 0, uint64(id.MaxPGN), "65297")
	start, ok2 := f.Whole("start", 0, 63, "0")
	length, ok3 := f.Whole("length", 1, 32, "16")
	scale, ok4 := p.number(f, "scale", 1)
	offset, ok5 := p.number(f, "offset", 0)
	s.unit = f.StringOr("unit", "")
	s.Scale, s.Offset, s.Start, s.Length, s.Size = scale, offset, uint8(start), uint8(length), 8
	s.Name = fmt.Sprintf("PGN %d bit %d", pgn, start)
	source, ok6 := p.from(f, &s)
	f.Done()
	if ok2 && ok3 && start+length > 64 {
		p.Add(f.Where(), fmt.Sprintf("bits %d to %d", start, start+length-1),
			"a classic CAN frame has bits 0 to 63")
		return s, false
	}
	if ok4 && !(scale > 0) {
		p.Add(f.Get("scale"), fmt.Sprintf("scale: %g", scale), "it must be above 0")
		return s, false
	}
	if !(ok1 && ok2 && ok3 && ok4 && ok5 && ok6) {
		return s, false
	}
	return s, p.address(f, &s, uint32(pgn), source)
}

// from reads the optional source address; without it any sender will do.
func (p *parsing) from(f *yamltext.Fields, s *found) (uint8, bool) {
	if !f.Has("from") {
		s.AnySource = true
		return p.rig.Source, true // of a command: it is sent from our address
	}
	v, ok := f.Whole("from", 0, 253, "0x3D")
	return uint8(v), ok
}

func (p *parsing) address(f *yamltext.Fields, s *found, pgn uint32, source uint8) bool {
	const control = 3 // default priority of control messages: SAE J1939-21, from memory
	i, err := id.New(control, pgn, id.Global, source)
	if err != nil {
		p.Add(f.Where(), err.Error(), "")
		return false
	}
	s.ID = i
	return true
}

// number reads a plain decimal number: a factor between raw bits and a unit named beside it.
func (p *parsing) number(f *yamltext.Fields, key string, otherwise float64) (float64, bool) {
	if !f.Has(key) {
		return otherwise, true
	}
	text := f.String(key, "0.05")
	v, err := strconv.ParseFloat(text, 64)
	if text == "" {
		return 0, false
	}
	if err != nil || math.IsNaN(v) || math.Abs(v) > unit.Largest {
		p.Add(f.Get(key), fmt.Sprintf("%s: %s", key, yamltext.Clip(text)),
			"write a plain number; its unit stands under unit:")
		return 0, false
	}
	return v, true
}

// spnSignal reads {spn: 4334, from: 0x3D}: place, scale and states come from the catalogue.
func (p *parsing) spnSignal(f *yamltext.Fields) (s found, ok bool) {
	number, okNumber := f.Whole("spn", 1, 524287, "4334")
	source, okFrom := p.from(f, &s)
	f.Done()
	if !okNumber || !okFrom {
		return s, false
	}
	param := p.parameter(f, uint32(number))
	if param == nil {
		return s, false
	}
	scale := math.Pow10(-int(param.Scale.Decimals))
	s.Name, s.unit, s.Size, s.Parameter = fmt.Sprintf("SPN %d", number), param.Unit, 8, param
	s.Start, s.Length = (param.Byte-1)*8+param.Bit-1, param.Bits
	s.Scale, s.Offset = float64(param.Scale.Mul)*scale, float64(param.Scale.Add)*scale
	return s, p.address(f, &s, param.PGN, source)
}

// parameter finds an SPN that stands at a fixed place in a message of one frame.
func (p *parsing) parameter(f *yamltext.Fields, number uint32) *spn.Parameter {
	n := f.Get("spn")
	all := spn.Find(number)
	if len(all) == 0 {
		p.Add(n, fmt.Sprintf("SPN %d is not in the catalogue", number),
			"look it up with \"holdfast spn WORD\", or write the signal out: {pgn: ..., start: ..., length: ...}")
		return nil
	}
	for _, q := range all {
		if q.Bits > 0 && q.Bits <= 32 && q.Byte > 0 && (int(q.Byte)-1)*8+int(q.Bit)-1+int(q.Bits) <= 64 {
			return q
		}
	}
	p.Add(n, fmt.Sprintf("%s has no place in a message of one frame", all[0].Title()),
		"name another one, or write the signal out: {pgn: ..., start: ..., length: ...}")
	return nil
}
