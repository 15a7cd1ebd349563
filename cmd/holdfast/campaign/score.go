package campaign

import (
	"math"

	"holdfast/bench/cause"
)

// Scores says how good the stated probabilities of causes are, over units that failed and have one fault or none
// (G. W. Brier 1950; I. J. Good 1952). Both are 0 for somebody who knows.
type Scores struct {
	Units  int     `json:"units"`
	Brier  float64 `json:"brier"` // mean of the sum of squares over all causes, 0..2
	BrierU float64 `json:"brier_u"`
	Log    float64 `json:"log"` // mean of -ln of what was stated for what is there, nats
	LogU   float64 `json:"log_u"`
	Never  int     `json:"stated_as_impossible"` // units of which the truth was not among the causes
}

// impossible is what counts for a cause that was not stated at all: else one of them makes the log score infinite.
const impossible = 1e-4

// scoring gathers them.
type scoring struct {
	n                            int
	brier, brier2, log, logSqare float64
	never                        int
}

func (s *scoring) add(u *Unit, causes []cause.Cause) {
	truth := cause.Healthy
	if name := u.Single(); name != "" {
		truth = name
	}
	brier, p := 1.0, 0.0
	for _, c := range causes {
		if c.Name == truth {
			p = c.Probability
			brier += (1-p)*(1-p) - 1
			continue
		}
		brier += c.Probability * c.Probability
	}
	if p < impossible {
		s.never++
	}
	l := -math.Log(max(p, impossible))
	s.n++
	s.brier, s.brier2 = s.brier+brier, s.brier2+brier*brier
	s.log, s.logSqare = s.log+l, s.logSqare+l*l
}

func (s *scoring) scores() Scores {
	brier, brierU := meanAndU(s.brier, s.brier2, s.n)
	log, logU := meanAndU(s.log, s.logSqare, s.n)
	return Scores{Units: s.n, Brier: brier, BrierU: brierU, Log: log, LogU: logU, Never: s.never}
}

// meanAndU is a mean with twice its standard error.
func meanAndU(sum, squares float64, n int) (mean, u float64) {
	if n < 2 {
		return sum, 0
	}
	mean = sum / float64(n)
	variance := max(squares-mean*sum, 0) / float64(n-1)
	return mean, 2 * math.Sqrt(variance/float64(n))
}
