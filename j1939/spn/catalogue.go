package spn

import (
	"strings"
	"sync"
)

var catalogue = sync.OnceValue(newIndex)

// PGN returns the parameter group of that number; nil when the catalogue has none.
// The Proprietary B groups 65280..65535 share one entry.
func PGN(pgn uint32) *Message {
	if pgn > proprietaryB && pgn <= proprietaryBEnd {
		pgn = proprietaryB
	}
	return catalogue().group(pgn)
}

const (
	proprietaryB    = 65280
	proprietaryBEnd = 65535
)

// PGNs returns the numbers of all parameter groups in order, without reading them. The slice is shared: do not
// change it.
func PGNs() []uint32 { return catalogue().pgns }

// Messages returns all parameter groups in PGN order. The slice is shared: do not change it.
func Messages() []*Message { return catalogue().messages() }

// Parameters returns all parameters in SPN order. The slice is shared: do not change it.
func Parameters() []*Parameter { return catalogue().all() }

// Find returns the parameters of that number: one for each group it stands in, or one of kind
// Number when it stands in trouble codes only. nil when the catalogue has none.
func Find(number uint32) []*Parameter { return catalogue().find(number) }

// Named returns the parameters whose name is exactly that, in the tables' order.
func Named(name string) []*Parameter {
	var found []*Parameter
	for _, number := range catalogue().names()[name] {
		found = append(found, Find(number)...)
	}
	return found
}

// Name returns the name of an SPN; "" when the catalogue has none.
func Name(number uint32) string {
	if found := Find(number); len(found) > 0 {
		return found[0].Name
	}
	return ""
}

// Search returns the parameters whose name, older name or group acronym holds every word of text,
// whatever its case, in SPN order.
func Search(text string) []*Parameter {
	words := strings.Fields(strings.ToLower(text))
	if len(words) == 0 {
		return nil
	}
	var found []*Parameter
	for _, p := range catalogue().all() {
		if p.matches(words) {
			found = append(found, p)
		}
	}
	return found
}

// order is the place of p in its group: bit position, or order in the text.
func (p *Parameter) order() int { return (int(p.Byte)*8+int(p.Bit))*32 + int(p.Field) }
