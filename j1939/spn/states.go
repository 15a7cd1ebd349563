package spn

import (
	"fmt"
	"strconv"
	"strings"
)

// Text is the state's name in the parameter's table; "" where the table has none.
func (p *Parameter) Text(raw uint64) string {
	if p.FMICodes && raw <= 31 {
		return FMIText(uint8(raw))
	}
	if r := p.state(raw); r != nil && (p.Kind == State || p.Kind == Measured && p.StatusOf(raw) == Specific) {
		return r.Text
	}
	return ""
}

// StatesKnown says that the table is complete: a raw value outside it has no meaning.
func (p *Parameter) statesKnown() bool {
	return !strings.Contains(p.StatesNote, "rest not found") && !p.FMICodes &&
		!strings.Contains(p.StatesNote, "other codes")
}

func (p *Parameter) state(raw uint64) *StateRange {
	for i := range p.States {
		if r := &p.States[i]; raw >= r.From && raw <= r.To {
			return r
		}
	}
	return nil
}

// stateStatus reads a raw value by the table alone: small fields do not all keep their last two
// values for error and not available (SPN 3223: 3 is "heater off").
func (p *Parameter) stateStatus(raw uint64) Status {
	if r := p.state(raw); r != nil {
		return r.Status
	}
	switch {
	case p.Bits >= 8 && raw > 0xFA:
		switch raw {
		case 0xFF:
			return NotAvailable
		case 0xFE:
			return ErrorState
		case 0xFB:
			return Specific
		}
		return Reserved
	case p.statesKnown() && len(p.States) > 0:
		return Reserved
	default:
		return Valid // its name was not found, but it is a state: shown as a bare number
	}
}

// smallIndicator is the pattern of fields below 8 bits: last value not available, the one before
// it the error indicator. Only for numbers: states have their own table.
func smallIndicator(raw uint64, bits uint8) Status {
	switch 1<<bits - 1 - raw {
	case 0:
		return NotAvailable
	case 1:
		return ErrorState
	default:
		return Reserved
	}
}

// meanings: how a state's text begins, and the status it stands for. "Do not care" and "take no
// action" are commands that mean something and stay Valid.
var meanings = []struct {
	prefix string
	status Status
}{
	{"not available", NotAvailable}, {"not supported", NotAvailable}, {"not applicable", NotAvailable},
	{"error", ErrorState}, {"reserved", Reserved}, {"not defined", Reserved},
}

func statusOfText(text string) Status {
	for _, m := range meanings {
		if text == m.prefix || strings.HasPrefix(text, m.prefix+" ") {
			return m.status
		}
	}
	return Valid
}

// parseStates reads "0=off;1=on;2-3=reserved" and the free remarks that stand among them.
func (p *Parameter) parseStates(text string) error {
	for _, item := range splitOutsideBrackets(text) {
		span, name, ok := strings.Cut(item, "=")
		_, _, isSpan := parseSpan(span)
		if !ok || !isSpan {
			p.note(item)
			continue
		}
		name = p.withoutRemark(name)
		p.FMICodes = p.FMICodes || strings.Contains(name, "FMI code")
		for _, one := range strings.Split(span, ",") {
			from, to, isSpan := parseSpan(one)
			if !isSpan {
				return fmt.Errorf("state %q", item)
			}
			p.States = append(p.States, StateRange{from, to, name, statusOfText(name)})
		}
	}
	return nil
}

// parseSpan reads "3", "2-3" or "2..7"; of "2-3,5-6" it reads the first part.
func parseSpan(s string) (from, to uint64, ok bool) {
	s, _, _ = strings.Cut(s, ",")
	low, high, both := strings.Cut(strings.Replace(s, "..", "-", 1), "-")
	from, err := strconv.ParseUint(strings.TrimSpace(low), 10, 32)
	if err != nil {
		return 0, 0, false
	}
	if !both {
		return from, from, true
	}
	to, err = strconv.ParseUint(strings.TrimSpace(high), 10, 32)
	return from, to, err == nil && to >= from
}

// withoutRemark moves the table's remark on itself from its last state to StatesNote.
func (p *Parameter) withoutRemark(name string) string {
	at := strings.LastIndex(name, " (")
	if at < 0 || !strings.HasSuffix(name, "memory)") {
		return name
	}
	p.note(strings.Trim(name[at:], " ()"))
	return name[:at]
}

func (p *Parameter) note(remark string) {
	if strings.Contains(remark, "FMI code") {
		p.FMICodes = true
	}
	if p.StatesNote != "" {
		p.StatesNote += "; "
	}
	p.StatesNote += strings.TrimSpace(remark)
}

// splitOutsideBrackets cuts at every ';' that stands in no bracket.
func splitOutsideBrackets(text string) []string {
	var items []string
	depth, start := 0, 0
	for i, r := range text {
		switch {
		case r == '(':
			depth++
		case r == ')':
			depth--
		case r == ';' && depth == 0:
			items, start = append(items, text[start:i]), i+1
		}
	}
	return append(items, text[start:])
}
