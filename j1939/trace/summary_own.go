package trace

import (
	"cmp"
	"slices"

	"holdfast/j1939/dbc"
	"holdfast/j1939/spn"
)

// maxOwn bounds the person's own signals that are told apart, by channel and source.
const maxOwn = 1 << 16

type ownKey struct {
	channel, source uint8
	pgn             uint32
	signal          *dbc.Signal
}

// OwnReport is one of the user's own signals in a message of one source. Min and Max mean something only
// when Valid is not 0.
type OwnReport struct {
	Channel, Source                 uint8
	PGN                             uint32
	Valid, NotAvailable, OutOfRange uint64
	Min, Max, Last                  dbc.Value

	order int
}

func (s *Summary) addOwn(m *Message) {
	for _, v := range s.Known.own(m) {
		key := ownKey{m.Channel, m.Source, m.PGN, v.Signal}
		r := s.own[key]
		if r == nil {
			if r = s.openOwn(key); r == nil {
				continue
			}
		}
		r.add(v)
	}
}

func (s *Summary) openOwn(key ownKey) *OwnReport {
	if s.own == nil {
		s.own = map[ownKey]*OwnReport{}
	}
	if len(s.own) == maxOwn {
		s.lost++
		return nil
	}
	r := &OwnReport{Channel: key.channel, Source: key.source, PGN: key.pgn, order: len(s.own)}
	s.own[key] = r
	return r
}

func (r *OwnReport) add(v dbc.Value) {
	r.Last = v
	switch v.Status {
	case spn.Valid:
		if r.Valid == 0 || v.Number() < r.Min.Number() {
			r.Min = v
		}
		if r.Valid == 0 || v.Number() > r.Max.Number() {
			r.Max = v
		}
		r.Valid++
	case spn.NotAvailable:
		r.NotAvailable++
	default:
		r.OutOfRange++
	}
}

// reportOwn gives every group its reports, in the order in which the signals came. A group that came both
// in single frames and by transport has them in the first of the two.
func (s *Summary) reportOwn(groups []GroupReport) {
	all := make([]OwnReport, 0, len(s.own))
	for _, r := range s.own {
		all = append(all, *r)
	}
	slices.SortFunc(all, func(a, b OwnReport) int { return cmp.Compare(a.order, b.order) })
	for _, r := range all {
		at := slices.IndexFunc(groups, func(g GroupReport) bool {
			return g.Channel == r.Channel && g.Source == r.Source && g.PGN == r.PGN
		})
		if at >= 0 {
			groups[at].Own = append(groups[at].Own, r)
		}
	}
}
