package trace

import (
	"cmp"
	"fmt"
	"slices"

	"holdfast/j1939/clock"
	"holdfast/j1939/diag"
	"holdfast/j1939/ident"
	"holdfast/j1939/spn"
	"holdfast/j1939/transport"
)

// Report is what a Summary has collected, in the order of channel, source and PGN.
type Report struct {
	Counts Counts
	Groups []GroupReport
	Faults []FaultSummary
	// Others is the number of messages and codes that were counted without being told apart, because
	// there were more different ones than are kept.
	Others uint64
}

// GroupReport is one message of one source.
type GroupReport struct {
	Channel, Source uint8
	PGN             uint32
	Group           *spn.Message   // nil: not in the catalogue
	Transport       transport.Kind // the way it last came
	Messages        uint64
	First, Last     clock.Instant
	LastData        []byte
	Parameters      []ParameterReport
	Texts           []string     // what the last data says in text, for a person
	Diagnostic      diag.Message // of the last data; nil: it is none, or a fault list, or cannot be read
	Own             []OwnReport  // the person's own signals
}

// Period is the mean time between two messages in seconds; 0 with fewer than two.
func (g *GroupReport) Period() float64 {
	if g.Messages < 2 {
		return 0
	}
	return g.Last.Seconds(g.First) / float64(g.Messages-1)
}

// ParameterReport is one parameter of a message. Min and Max are raw and mean something only when
// Valid is not 0.
type ParameterReport struct {
	Parameter                             *spn.Parameter
	Valid, NotAvailable, Errors, Reserved uint64
	Specific, OutOfRange                  uint64
	Min, Max                              uint64
	Last                                  uint64
	LastStatus                            spn.Status  // Absent: the last data did not hold it
	States                                []StateTime // of State parameters: how often each valid state came
}

// StateTime is how often a state was sent.
type StateTime struct {
	Raw, Messages uint64
}

// Report returns what has been collected so far. counts are those of the Decoder.
func (s *Summary) Report(counts Counts) Report {
	r := Report{Counts: counts, Others: s.others}
	for _, g := range s.groups {
		g.flush(s)
		r.Groups = append(r.Groups, g.report())
	}
	for _, expanded := range []bool{false, true} { // DM25 is read with the list of DM24
		for i := range r.Groups {
			if g := &r.Groups[i]; (g.PGN == diag.DM25) == expanded {
				g.Diagnostic = s.Known.diagnostic(g.Channel, g.Source, g.PGN, g.LastData)
			}
		}
	}
	s.reportOwn(r.Groups)
	slices.SortFunc(r.Groups, func(a, b GroupReport) int {
		return cmp.Or(cmp.Compare(a.Channel, b.Channel), cmp.Compare(a.Source, b.Source),
			cmp.Compare(a.PGN, b.PGN), cmp.Compare(a.Transport, b.Transport), cmp.Compare(a.First, b.First))
	})
	for _, f := range s.faults {
		r.Faults = append(r.Faults, *f)
	}
	slices.SortFunc(r.Faults, func(a, b FaultSummary) int {
		return cmp.Or(cmp.Compare(a.Channel, b.Channel), cmp.Compare(a.Source, b.Source), cmp.Compare(a.PGN, b.PGN),
			cmp.Compare(a.DTC.SPN, b.DTC.SPN), cmp.Compare(a.DTC.FMI, b.DTC.FMI))
	})
	r.Others += s.lost
	return r
}

func (g *group) report() GroupReport {
	data := slices.Clone(g.lastData())
	r := GroupReport{Channel: g.channel, Source: g.source, PGN: g.pgn, Group: g.plan.group, Transport: g.kind,
		Messages: g.count, First: g.first, Last: g.last, LastData: data}
	for i := range g.plan.fields {
		f := &g.plan.fields[i]
		p := g.tallies.report(f)
		if raw, ok := f.extract(g.word, data); ok {
			p.Last, p.LastStatus = raw, p.Parameter.StatusOf(raw)
		}
		r.Parameters = append(r.Parameters, p)
	}
	r.Texts = g.texts(data)
	return r
}

// texts says what the data holds in text: an identification by its fields, another text by its parameters.
func (g *group) texts(data []byte) []string {
	if g.pgn == ident.PGNHours || len(g.plan.texts) == 0 {
		return nil
	}
	var i ident.Identity
	if i.Take(g.pgn, data) {
		return i.Lines()
	}
	var said []string
	for _, q := range g.plan.texts {
		if text, status := q.DecodeText(data); status == spn.Valid {
			said = append(said, fmt.Sprintf("%s (%d): %s", q.Name, q.SPN, ident.Text(text)))
		}
	}
	return said
}
