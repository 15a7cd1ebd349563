package trace

import (
	"encoding/binary"

	"holdfast/j1939/clock"
	"holdfast/j1939/diag"
)

// FaultSummary is one trouble code in the fault lists of one source.
type FaultSummary struct {
	Channel, Source uint8
	PGN             uint32 // DM1, DM2 ...
	DTC             diag.DTC
	HighestCount    uint8 // highest occurrence count seen; 127: none was given
	Messages        uint64
	First, Last     clock.Instant
}

// addFaults counts the codes of the group's last data, which came n times in a row.
func (s *Summary) addFaults(g *group, n uint64) {
	if s.scratch.DecodeInto(g.lastData(), s.Known.Conversions.Of(g.source)) != nil {
		return
	}
	if s.faults == nil {
		s.faults = map[faultKey]*FaultSummary{}
	}
	for _, d := range s.scratch.DTCs {
		key := faultKey{g.channel, g.source, g.pgn, d.SPN<<5 | uint32(d.FMI)}
		f := s.faults[key]
		if f == nil {
			if len(s.faults) == maxFaults {
				s.lost += n
				continue
			}
			f = &FaultSummary{Channel: g.channel, Source: g.source, PGN: g.pgn, HighestCount: diag.CountNotAvailable,
				First: g.changed}
			s.faults[key] = f
		}
		f.DTC, f.Last = d, g.last
		f.Messages += n
		known := f.HighestCount != diag.CountNotAvailable
		if d.Count != diag.CountNotAvailable && (!known || d.Count > f.HighestCount) {
			f.HighestCount = d.Count
		}
	}
}

// lastData is the last data of the group.
func (g *group) lastData() []byte {
	if g.short {
		return g.data
	}
	g.data = binary.LittleEndian.AppendUint64(g.data[:0], g.word)
	return g.data
}
