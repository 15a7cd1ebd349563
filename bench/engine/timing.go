package engine

import (
	"math/bits"
	"time"

	"holdfast/bench/samples"
)

// keepTime notes how late a cycle begins and lets a grid that has fallen behind catch up
// at once, without a burst of commands.
func (e *engine) keepTime() {
	now := e.Port.Now()
	if now < e.next {
		return // cut short by a trip
	}
	late := now.Sub(e.next)
	e.late.note(late)
	e.sup.Overrun(now, late)
	if late > e.Rig.Cycle {
		e.late.overruns++
		e.next = e.next.Add(late.Truncate(e.Rig.Cycle))
	}
}

// lateness counts how late command cycles began, in buckets of a quarter of a power of two of
// microseconds, so that it takes the same room for ten cycles and for ten million.
type lateness struct {
	counts   [4 * 40]uint32
	cycles   int
	overruns int
	worst    time.Duration
}

func (l *lateness) note(late time.Duration) {
	l.cycles++
	l.worst = max(l.worst, late)
	l.counts[bucket(late)]++
}

// bucket is the exponent and the next two bits of the time in microseconds.
func bucket(late time.Duration) int {
	us := uint64(max(late, 0) / time.Microsecond)
	if us < 4 {
		return int(us)
	}
	n := bits.Len64(us)
	return min(4*(n-2)+int(us>>(n-3)&3), 4*40-1)
}

// bucketEnd is the time at which a bucket ends: no time in it is longer.
func bucketEnd(i int) time.Duration {
	if i < 4 {
		return time.Duration(i+1) * time.Microsecond
	}
	n := i/4 + 2
	return time.Duration(uint64(4+i%4+1)<<(n-3)) * time.Microsecond
}

// quantile is the time that so many thousandths of the cycles kept: the end of the bucket, so never
// less than the truth and at most a quarter more.
func (l *lateness) quantile(thousandths int) time.Duration {
	if l.cycles == 0 {
		return 0
	}
	wanted, sum := (l.cycles*thousandths+999)/1000, 0
	for i, n := range l.counts {
		if sum += int(n); sum >= wanted {
			return min(bucketEnd(i), l.worst)
		}
	}
	return l.worst
}

func (l *lateness) timing() samples.Timing {
	return samples.Timing{Cycles: l.cycles, Overruns: l.overruns, Worst: l.worst,
		Median: l.quantile(500), P99: l.quantile(990), P999: l.quantile(999)}
}
