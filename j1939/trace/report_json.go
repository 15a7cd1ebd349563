package trace

import (
	"bufio"
	"bytes"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"holdfast/j1939/clock"
	"holdfast/j1939/dbc"
	"holdfast/j1939/diag"
	"holdfast/j1939/spn"
	"holdfast/j1939/transport"
)

// The JSON form of a Report: times in seconds since 1970, values the exact decimals of the scaling.
type (
	reportJSON struct {
		Frames      uint64            `json:"frames"`
		Messages    uint64            `json:"messages"`
		Reassembled uint64            `json:"reassembled"`
		Standard    uint64            `json:"standard_frames"`
		Remote      uint64            `json:"remote_frames"`
		Errors      uint64            `json:"error_frames"`
		Transport   map[string]uint64 `json:"transport_events"`
		Others      uint64            `json:"others"`
		// and groups and faults, which are written one by one
	}
	groupJSON struct {
		Channel   uint8           `json:"channel"`
		Source    uint8           `json:"source"`
		PGN       uint32          `json:"pgn"`
		Name      string          `json:"name"`
		Transport string          `json:"transport,omitempty"`
		Messages  uint64          `json:"messages"`
		First     float64         `json:"first"`
		Last      float64         `json:"last"`
		Period    *float64        `json:"period"`
		SPNs      []parameterJSON `json:"spns"`
		Texts     []string        `json:"texts,omitempty"`
		Diagnosis diag.Message    `json:"diagnostics,omitempty"` // of the last data
		Own       []ownJSON       `json:"signals,omitempty"`
		LastData  string          `json:"last_data"`
	}
	ownJSON struct {
		Name         string       `json:"name"`
		Unit         string       `json:"unit"`
		Valid        uint64       `json:"valid"`
		NotAvailable uint64       `json:"not_available"`
		OutOfRange   uint64       `json:"out_of_range"`
		Minimum      *json.Number `json:"minimum"`
		Maximum      *json.Number `json:"maximum"`
		Last         *json.Number `json:"last"`
	}
	parameterJSON struct {
		SPN          uint32       `json:"spn"`
		Name         string       `json:"name"`
		Unit         string       `json:"unit"`
		Valid        uint64       `json:"valid"`
		NotAvailable uint64       `json:"not_available"`
		Errors       uint64       `json:"error_indicator"`
		Reserved     uint64       `json:"reserved"`
		Specific     uint64       `json:"parameter_specific"`
		OutOfRange   uint64       `json:"out_of_range"`
		Minimum      *json.Number `json:"minimum"`
		Maximum      *json.Number `json:"maximum"`
		Last         *json.Number `json:"last"`
		LastStatus   string       `json:"last_status"`
	}
	faultJSON struct {
		Channel  uint8   `json:"channel"`
		Source   uint8   `json:"source"`
		PGN      uint32  `json:"pgn"`
		SPN      uint32  `json:"spn"`
		FMI      uint8   `json:"fmi"`
		Count    *uint8  `json:"count"`
		Messages uint64  `json:"messages"`
		First    float64 `json:"first"`
		Last     float64 `json:"last"`
		Name     string  `json:"name"`
		Failure  string  `json:"failure"`
	}
)

// WriteJSON writes the report as one object, group by group, so that a large one is never in memory as text.
func (r *Report) WriteJSON(out io.Writer) error {
	c := r.Counts
	o := reportJSON{Frames: c.Frames, Messages: c.Messages, Reassembled: c.Reassembled, Standard: c.Standard,
		Remote: c.Remote, Errors: c.Errors, Others: r.Others, Transport: map[string]uint64{}}
	for e, n := range c.Transport {
		if e := transport.Event(e); e != transport.Foreign && n > 0 {
			o.Transport[strings.ReplaceAll(e.String(), " ", "_")] = n
		}
	}
	head, err := json.MarshalIndent(o, "", " ")
	if err != nil {
		return err
	}
	w := bufio.NewWriter(out)
	w.Write(bytes.TrimSuffix(head, []byte("\n}")))
	groups := writeList(w, "groups", r.Groups, (*GroupReport).asJSON)
	faults := writeList(w, "faults", r.Faults, (*FaultSummary).asJSON)
	w.WriteString("\n}")
	return errors.Join(groups, faults, w.Flush())
}

// writeList writes one more member of the object, a list, as json.MarshalIndent would.
func writeList[R, J any](w *bufio.Writer, name string, list []R, asJSON func(*R) J) error {
	fmt.Fprintf(w, ",\n %q: [", name)
	for i := range list {
		text, err := json.MarshalIndent(asJSON(&list[i]), "  ", " ")
		if err != nil {
			return err
		}
		if i > 0 {
			w.WriteByte(',')
		}
		w.WriteString("\n  ")
		w.Write(text)
	}
	if len(list) > 0 {
		w.WriteString("\n ")
	}
	return w.WriteByte(']')
}

func unix(i clock.Instant) float64 { return i.Seconds(0) }

func (g *GroupReport) asJSON() groupJSON {
	o := groupJSON{Channel: g.Channel, Source: g.Source, PGN: g.PGN, Transport: g.Transport.String(),
		Messages: g.Messages, First: unix(g.First), Last: unix(g.Last), SPNs: []parameterJSON{},
		LastData: strings.ToUpper(hex.EncodeToString(g.LastData))}
	if g.Group != nil {
		o.Name = g.Group.Name
	}
	if period := g.Period(); period > 0 {
		o.Period = &period
	}
	for i := range g.Parameters {
		o.SPNs = append(o.SPNs, g.Parameters[i].asJSON())
	}
	o.Texts, o.Diagnosis = g.Texts, g.Diagnostic
	for i := range g.Own {
		o.Own = append(o.Own, g.Own[i].asJSON())
	}
	return o
}

func (p *ParameterReport) asJSON() parameterJSON {
	q := p.Parameter
	o := parameterJSON{SPN: q.SPN, Name: q.Name, Unit: q.Unit, Valid: p.Valid, NotAvailable: p.NotAvailable,
		Errors: p.Errors, Reserved: p.Reserved, Specific: p.Specific, OutOfRange: p.OutOfRange,
		LastStatus: p.LastStatus.String()}
	exact := func(raw uint64) *json.Number {
		n := json.Number(q.Scale.AppendExact(nil, raw))
		if q.Kind == spn.Bits { // up to 64 bits, no scale
			n = json.Number(strconv.FormatUint(raw, 10))
		}
		return &n
	}
	if p.Valid > 0 {
		o.Minimum, o.Maximum = exact(p.Min), exact(p.Max)
	}
	if p.LastStatus == spn.Valid {
		o.Last = exact(p.Last)
	}
	return o
}

func (f *FaultSummary) asJSON() faultJSON {
	o := faultJSON{Channel: f.Channel, Source: f.Source, PGN: f.PGN, SPN: f.DTC.SPN, FMI: f.DTC.FMI,
		Messages: f.Messages, First: unix(f.First), Last: unix(f.Last), Name: spn.Name(f.DTC.SPN),
		Failure: spn.FMIText(f.DTC.FMI)}
	if f.HighestCount != diag.CountNotAvailable {
		o.Count = &f.HighestCount
	}
	return o
}

func (r *OwnReport) asJSON() ownJSON {
	o := ownJSON{Name: r.Last.Signal.Name, Unit: r.Last.Signal.Unit, Valid: r.Valid,
		NotAvailable: r.NotAvailable, OutOfRange: r.OutOfRange}
	number := func(v dbc.Value) *json.Number {
		n := json.Number(v.AppendNumber(nil))
		return &n
	}
	if r.Valid > 0 {
		o.Minimum, o.Maximum = number(r.Min), number(r.Max)
	}
	if r.Last.Status == spn.Valid {
		o.Last = number(r.Last)
	}
	return o
}
