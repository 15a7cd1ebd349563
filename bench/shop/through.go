package shop

import (
	"context"
	"fmt"
	"slices"

	"holdfast/bench/history"
	"holdfast/bench/judge"
	"holdfast/bench/record"
)

// Through is one visit of a unit: what the vehicle and the bench said, before and after. No verdict on the unit is
// drawn from the vehicle.
type Through struct {
	Visit     record.Visit     `json:"visit"`
	Occasions [4]string        `json:"occasions"` // folder or run of each of OccasionNames; "": not looked at
	Figures   []history.Figure `json:"figures"`
	Warnings  []string         `json:"warnings"`

	Seen history.Occasions `json:"-"`
}

// OccasionNames are the four occasions of a visit, in order of time.
var OccasionNames = [4]string{"vehicle before", "bench before", "bench after", "vehicle after"}

// Look reads what is known of a visit. Of the bench only runs of a scenario count; bank is the unit's aftertreatment
// bank on the vehicle (0: the first heard).
func Look(ctx context.Context, s *record.Store, v record.Visit, scenario string, bank uint8) (*Through, error) {
	t := &Through{Visit: v, Warnings: []string{}}
	if err := t.benchRuns(ctx, s, scenario); err != nil {
		return nil, err
	}
	if t.Occasions == [4]string{} && len(v.Vehicle) == 0 {
		return nil, fmt.Errorf("visit %s of %s has no run of %s and no watch on the vehicle yet", v.ID, v.Serial, scenario)
	}
	return t, t.fill(s, bank)
}

// benchRuns finds the first run of the visit and the one that counts at its end.
func (t *Through) benchRuns(ctx context.Context, s *record.Store, scenario string) error {
	runs, err := s.Search(ctx, record.Search{Visit: t.Visit.ID, Scenario: scenario})
	if err != nil || len(runs) == 0 {
		return err
	}
	slices.Reverse(runs) // oldest first
	first, last := 0, len(runs)-1
	for i := range runs {
		if runs[i].ID == t.Visit.Run {
			last = i
		}
	}
	judged := func(i int) (*judge.Result, error) {
		f, err := record.OpenFolder(runs[i].Folder)
		if err != nil {
			return nil, err
		}
		return record.Rejudge(f)
	}
	if first < last || runs[first].Verdict != judge.Pass.String() {
		t.Occasions[1] = runs[first].ID
		if t.Seen.BenchBefore, err = judged(first); err != nil {
			return err
		}
	}
	if first < last || t.Occasions[1] == "" {
		t.Occasions[2] = runs[last].ID
		t.Seen.BenchAfter, err = judged(last)
	}
	return err
}

// fill reads the watches of the visit and makes the figures.
func (t *Through) fill(s *record.Store, bank uint8) error {
	t.Seen.Bank = bank
	for _, c := range t.Visit.Vehicle { // of several of one stage the latest counts
		sum, err := s.ReadWatch(c)
		if err != nil {
			return err
		}
		if wrong := s.TamperedWatch(c); wrong != "" {
			t.Warnings = append(t.Warnings, c.Folder+": "+wrong)
		}
		at, into := 0, &t.Seen.VehicleBefore
		if c.Stage == record.After {
			at, into = 3, &t.Seen.VehicleAfter
		}
		if *into != nil {
			t.Warnings = append(t.Warnings, fmt.Sprintf("vehicle %s: %s came before %s, which is shown", c.Stage,
				t.Occasions[at], c.Folder))
		}
		*into, t.Occasions[at] = sum, c.Folder
		if len(sum.Units) > 1 && bank == 0 {
			t.Warnings = append(t.Warnings, fmt.Sprintf("vehicle %s: %d units on this bus; shown is bank %d "+
				"(--bank chooses)", c.Stage, len(sum.Units), sum.Units[0].Bank))
		}
	}
	b, a := t.Seen.VehicleBefore, t.Seen.VehicleAfter
	if b != nil && a != nil && b.Vehicle != a.Vehicle && b.Vehicle != "" && a.Vehicle != "" {
		t.Warnings = append(t.Warnings, "before and after are two different vehicles: "+b.Vehicle+
			" and "+a.Vehicle)
	}
	t.Figures = history.Through(t.Seen)
	return nil
}
