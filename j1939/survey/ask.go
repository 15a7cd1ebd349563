package survey

import (
	"context"

	"holdfast/j1939/claim"
	"holdfast/j1939/diag"
	"holdfast/j1939/id"
	"holdfast/j1939/ident"
)

// Wanted says which lists of trouble codes are asked for beside the active ones.
type Wanted struct {
	Previous bool // previously active codes
	Freeze   bool // freeze frames
	Vehicle  bool // and whose they are: vehicle identification
}

// AskAll asks everybody once for each: who they are, what identifies them, hours; and for active trouble codes where
// they have not come by themselves. s must hear what p hears.
func (s *Survey) AskAll(ctx context.Context, p *Participant) error {
	s.table = p.Node().Table()
	for _, pgn := range append([]uint32{claim.PGNClaimed}, ident.Groups()...) {
		if _, err := p.Ask(ctx, pgn, id.Global); err != nil {
			return err
		}
	}
	if s.allFaultsHeard(p.Node().Address()) {
		return nil
	}
	_, err := p.Ask(ctx, diag.DM1, id.Global)
	return err
}

// allFaultsHeard: DM1 comes by itself once a second from every controller that has it.
func (s *Survey) allFaultsHeard(us uint8) bool {
	for _, m := range s.table.Members() {
		k := s.known[m.Address]
		if m.Address != us && m.Named && (k == nil || k.faults[diag.DM1] == nil) {
			return false
		}
	}
	return true
}

// AskFaults asks everybody who they are and for the lists that are wanted. s must hear what p hears.
func (s *Survey) AskFaults(ctx context.Context, p *Participant, w Wanted) error {
	s.table = p.Node().Table()
	groups := map[uint32]bool{diag.DM2: w.Previous, diag.DM4: w.Freeze, diag.DM25: w.Freeze, ident.PGNVehicle: w.Vehicle}
	for _, pgn := range []uint32{claim.PGNClaimed, diag.DM1, diag.DM2, diag.DM4, diag.DM25, ident.PGNVehicle} {
		if wanted, optional := groups[pgn]; optional && !wanted {
			continue
		}
		if _, err := p.Ask(ctx, pgn, id.Global); err != nil {
			return err
		}
	}
	return nil
}
