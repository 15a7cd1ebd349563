package ident

import (
	"fmt"
	"strings"

	"holdfast/j1939/spn"
)

// Lines returns what is known as text, one line for each message. Empty and missing fields are left out.
func (i *Identity) Lines() []string {
	var lines []string
	add := func(heading string, parts []string) {
		if len(parts) > 0 {
			lines = append(lines, heading+": "+strings.Join(parts, ", "))
		}
	}
	if c := i.Component; c != nil {
		add("component", words(c.Others, "make", c.Make, "model", c.Model,
			"serial number", c.Serial, "unit", c.Unit))
	}
	if s := i.Software; s != nil {
		add("software", s.words())
	}
	if e := i.ECU; e != nil {
		add("ECU", words(e.Others, "part number", e.PartNumber, "serial number", e.Serial,
			"location", e.Location, "type", e.Type, "manufacturer", e.Manufacturer, "hardware", e.HardwareID, "made", e.Made))
	}
	if v := i.Vehicle; v != nil {
		add("vehicle", words(v.Others, "identification number", v.VIN))
	}
	if h := i.Hours; h != nil {
		add("hours", h.words())
	}
	return lines
}

// words pairs headings and fields.
func words(others []Text, pairs ...any) (said []string) {
	for n := 0; n+1 < len(pairs); n += 2 {
		if t := pairs[n+1].(Text); len(t) > 0 {
			said = append(said, fmt.Sprintf("%s %s", pairs[n], t))
		}
	}
	for _, t := range others {
		if len(t) > 0 {
			said = append(said, fmt.Sprintf("further field %s", t))
		}
	}
	return said
}

func (s *Software) words() (said []string) {
	for _, t := range s.IDs {
		if len(t) > 0 {
			said = append(said, t.String())
		}
	}
	if s.Stated <= 250 && int(s.Stated) != len(s.IDs) {
		said = append(said, fmt.Sprintf("(%d stated, %d sent)", s.Stated, len(s.IDs)))
	}
	return said
}

func (h *Hours) words() (said []string) {
	group := spn.PGN(PGNHours)
	for _, one := range []struct {
		number uint32
		value  float64
		status spn.Status
	}{{247, h.Hours, h.HoursStatus}, {249, h.Revolutions, h.RevolutionsStatus}} {
		if one.status != spn.Valid {
			continue
		}
		p := group.Parameter(one.number)
		if raw, err := p.Scale.Raw(one.value); err == nil {
			said = append(said, string(p.AppendWords(nil, raw)))
		}
	}
	return said
}
