package rig

import "slices"

// Senders returns the source addresses that the rig declares, in order: ours, the bench node's,
// those from which channels are read and those of other_senders. open says that a channel is read from whoever sends it: one
// more controller, the unit's own, is then to be expected.
func (r *Rig) Senders() (addresses []uint8, open bool) {
	addresses = []uint8{r.Source, r.Node}
	for _, in := range r.Channels {
		switch {
		case in == nil:
		case in.Signal.AnySource:
			open = true
		default:
			addresses = append(addresses, in.Signal.ID.Source())
		}
	}
	for _, o := range r.Others {
		addresses = append(addresses, o.Address)
	}
	slices.Sort(addresses)
	return slices.Compact(addresses), open
}
