package trace

import (
	"unsafe"

	"holdfast/j1939/spn"
)

// tallies count the parameters of a group, each in the cheapest way that loses nothing.
type tallies struct {
	bytes []byteTally // all fields that lie inside one of the first eight bytes
	wide  []wideTally // numbers in the first eight bytes that do not
	rest  []restTally // everything else
}

// byteTally counts the values of a whole byte; those of its fields follow at the end.
type byteTally struct {
	at     uint8
	counts *[256]uint64
}

// wideTally compares one number.
type wideTally struct {
	shift     uint8
	end       uint8
	mask      uint64
	low, high uint64 // valid raw values
	valid     uint64
	min, max  uint64 // of the valid ones
	others    [spn.Counted]uint64
	field     *field
}

// restTally counts a field that lies beyond the eighth byte, is split, or is small and crosses two bytes.
type restTally struct {
	field     *field
	histogram []uint64 // up to 8 bits
	counts    [spn.Counted]uint64
	min, max  uint64
}

// init makes the tallies for the fields of a plan and returns about what they take.
func (t *tallies) init(fields []field) (size int) {
	for i := range fields {
		f := &fields[i]
		q := f.parameter
		switch {
		case f.inOneByte():
			if t.ofByte(f.shift/8) == nil {
				t.bytes = append(t.bytes, byteTally{f.shift / 8, new([256]uint64)})
				size += int(unsafe.Sizeof([256]uint64{}))
			}
		case f.inWord && q.Bits > 8 && q.Kind != spn.State && (q.Kind != spn.Bits || q.States == nil):
			w := wideTally{shift: f.shift, end: f.end, mask: f.mask, high: f.mask, min: ^uint64(0), field: f}
			if q.Kind == spn.Measured {
				w.low, w.high = q.Range()
			}
			t.wide = append(t.wide, w)
			size += int(unsafe.Sizeof(w))
		default:
			r := restTally{field: f, min: ^uint64(0)}
			if q.Bits <= 8 {
				r.histogram = make([]uint64, 1<<q.Bits)
			}
			t.rest = append(t.rest, r)
			size += int(unsafe.Sizeof(r)) + 8*len(r.histogram)
		}
	}
	return size
}

func (t *tallies) ofByte(at uint8) *[256]uint64 {
	for _, b := range t.bytes {
		if b.at == at {
			return b.counts
		}
	}
	return nil
}

// addWord counts eight bytes of data n times.
func (t *tallies) addWord(word, n uint64) {
	for i := range t.bytes {
		b := &t.bytes[i]
		b.counts[byte(word>>(8*b.at&63))] += n
	}
	for i := range t.wide {
		w := &t.wide[i]
		raw := word >> (w.shift & 63) & w.mask
		if raw < w.low || raw > w.high {
			w.others[w.field.parameter.StatusOf(raw)] += n
			continue
		}
		w.valid += n
		w.min, w.max = min(w.min, raw), max(w.max, raw)
	}
}

// addData counts data of any length; word is its first eight bytes.
func (t *tallies) addData(word uint64, data []byte, n uint64) {
	for i := range t.bytes {
		if b := &t.bytes[i]; int(b.at) < len(data) {
			b.counts[data[b.at]] += n
		}
	}
	for i := range t.wide {
		w := &t.wide[i]
		raw := word >> (w.shift & 63) & w.mask
		switch {
		case int(w.end) > len(data):
		case raw < w.low || raw > w.high:
			w.others[w.field.parameter.StatusOf(raw)] += n
		default:
			w.valid += n
			w.min, w.max = min(w.min, raw), max(w.max, raw)
		}
	}
	t.addRest(word, data, n)
}

func (t *tallies) addRest(word uint64, data []byte, n uint64) {
	for i := range t.rest {
		r := &t.rest[i]
		raw, ok := r.field.extract(word, data)
		switch {
		case !ok:
		case r.histogram != nil:
			r.histogram[raw] += n
		default:
			status := r.field.parameter.StatusOf(raw)
			r.counts[status] += n
			if status == spn.Valid {
				r.min, r.max = min(r.min, raw), max(r.max, raw)
			}
		}
	}
}

// report tells what was counted of a field.
func (t *tallies) report(f *field) ParameterReport {
	if f.inOneByte() {
		histogram := make([]uint64, f.mask+1)
		for value, n := range t.ofByte(f.shift / 8) {
			histogram[uint64(value)>>(f.shift%8)&f.mask] += n
		}
		return fromHistogram(f.parameter, histogram)
	}
	for i := range t.wide {
		if w := &t.wide[i]; w.field == f {
			w.others[spn.Valid] = w.valid
			return fromCounts(f.parameter, w.others, w.min, w.max)
		}
	}
	for i := range t.rest {
		r := &t.rest[i]
		if r.field != f {
			continue
		}
		if r.histogram != nil {
			return fromHistogram(f.parameter, r.histogram)
		}
		return fromCounts(f.parameter, r.counts, r.min, r.max)
	}
	panic("trace: a field without a tally")
}

func fromCounts(q *spn.Parameter, counts [spn.Counted]uint64, low, high uint64) ParameterReport {
	return ParameterReport{Parameter: q, Valid: counts[spn.Valid], NotAvailable: counts[spn.NotAvailable],
		Errors: counts[spn.ErrorState], Reserved: counts[spn.Reserved],
		Specific: counts[spn.Specific], OutOfRange: counts[spn.OutOfRange], Min: low, Max: high}
}

func fromHistogram(q *spn.Parameter, histogram []uint64) ParameterReport {
	var counts [spn.Counted]uint64
	low, high := ^uint64(0), uint64(0)
	var states []StateTime
	for raw, n := range histogram {
		if n == 0 {
			continue
		}
		status := q.StatusOf(uint64(raw))
		counts[status] += n
		if status != spn.Valid {
			continue
		}
		low, high = min(low, uint64(raw)), max(high, uint64(raw))
		if q.Kind == spn.State {
			states = append(states, StateTime{uint64(raw), n})
		}
	}
	p := fromCounts(q, counts, low, high)
	p.States = states
	return p
}
