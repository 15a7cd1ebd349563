package samples

import "time"

// BenchCheck is what the last check of a bench with a golden unit came to, as it was known when a run began. It
// is part of the run's identity, so that the run can be judged again by it.
type BenchCheck struct {
	Run       string    // the run it was made from
	Time      time.Time // when that run began
	Reference string    // what it was held against
	Good      bool      // every value agreed with its reference
	Worst     string    // the value that agreed least, in words
}
