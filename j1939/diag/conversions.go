package diag

import (
	"fmt"
	"strconv"
	"strings"
)

// Conversions says which version a set conversion bit stands for, source by source. Nothing on the wire
// tells, so a person states it from the controller's documents. The zero value assumes DefaultOld.
type Conversions struct {
	all      Version
	bySource [256]Version
}

// Of is the version for a source: the one stated for it, else the one stated for all, else DefaultOld.
func (c *Conversions) Of(source uint8) Version {
	switch {
	case c.bySource[source] != 0:
		return c.bySource[source]
	case c.all != 0:
		return c.all
	default:
		return DefaultOld
	}
}

// Set reads "1", "2" or "3" for all sources, or "0=1" for one, and may be called again; several may stand
// with commas between them. The later one counts.
func (c *Conversions) Set(text string) error {
	for one := range strings.SplitSeq(text, ",") {
		address, version, forSource := strings.Cut(strings.TrimSpace(one), "=")
		if !forSource {
			address, version = "0", address
		}
		v, err := strconv.ParseUint(version, 10, 8)
		if err != nil || v < uint64(Version1) || v > uint64(Version3) {
			return fmt.Errorf("conversion %q: write 1, 2 or 3, or an address before it (0=1); "+
				"version 4 is marked on the wire", one)
		}
		a, err := strconv.ParseUint(address, 0, 8)
		if err != nil {
			return fmt.Errorf("conversion %q: %q is no address from 0 to 255", one, address)
		}
		if forSource {
			c.bySource[a] = Version(v)
		} else {
			c.all = Version(v)
		}
	}
	return nil
}
