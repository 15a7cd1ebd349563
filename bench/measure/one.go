package measure

import "holdfast/bench/characteristic"

// Characteristic measures one characteristic, as Characteristics does; of several at different set points the
// first, or the one at the set point that is named.
func (b *Run) Characteristic(name, at string) Characteristic {
	for _, known := range characteristic.All {
		switch {
		case known.Name != name:
		case known.SetPoints:
			return Find(b.dosingErrors(known.Name, known.Unit), name, at)
		default:
			c := allMethods[name](b)
			c.Name, c.Unit = known.Name, known.Unit
			return c
		}
	}
	return Find(b.answers(), name, at)
}
