package shop

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"holdfast/bench/record"
	"holdfast/j1939/diag"
)

// TakeIn opens a visit for the unit of a note. For a unit that is in the shop already it adds to the open visit: what
// the note says replaces what was said before; fault codes and parts are added.
func TakeIn(ctx context.Context, s *record.Store, n record.Note) (visit string, opened bool, err error) {
	visit, err = s.Intake(ctx, n)
	if !errors.Is(err, record.ErrVisitOpen) {
		return visit, err == nil, err
	}
	visit, err = s.Amend(ctx, n)
	return visit, false, err
}

// Typed is the origin of a fault code that a person typed.
const Typed = "typed"

// ParseFault reads a fault code as a person types it: SPN/FMI or SPN/FMI/COUNT.
func ParseFault(text string) (record.FaultSeen, error) {
	f := record.FaultSeen{Origin: Typed}
	highest := [3]uint64{uint64(diag.MaxSPN), uint64(diag.MaxFMI), uint64(diag.CountMax)}
	parts := strings.Split(text, "/")
	numbers := make([]uint64, len(parts))
	for i, p := range parts {
		n, err := strconv.ParseUint(strings.TrimSpace(p), 10, 32)
		if err != nil || len(parts) < 2 || len(parts) > 3 || n > highest[min(i, 2)] {
			return f, fmt.Errorf("%q: write SPN/FMI or SPN/FMI/COUNT, SPN to %d, FMI to %d, count to %d", text,
				highest[0], highest[1], highest[2])
		}
		numbers[i] = n
	}
	f.SPN, f.FMI = uint32(numbers[0]), uint8(numbers[1])
	if len(numbers) == 3 {
		count := uint8(numbers[2])
		f.Count = &count
	}
	return f, nil
}
