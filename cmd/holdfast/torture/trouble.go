package torture

import (
	"fmt"
	"math/rand/v2"
	"time"
)

// kind is one way in which a bench, a bus or a computer misbehaves.
type kind uint8

const (
	loss kind = iota // frames vanish, both ways
	delay
	duplication
	reordering
	corruption    // the data of frames from the node is garbled
	babbling      // a node sends without a pause
	dropout       // a channel reports an error
	frozen        // the unit's sensor keeps its last value
	restart       // the bench node is silent and safe for a while
	stopButton    // emergency stop pressed
	guardOpened   // guard opened
	vehicle       // an engine turns on this bus
	stranger      // a controller that the rig does not declare
	commander     // another harness commands
	redLamp       // the unit asks for a stop
	surge         // the reference gauge shows more than there is
	overflow      // the computer loses frames, and says so
	busError      // the controller reports error-passive or bus-off
	busDown       // the interface goes
	operatorStop  // Ctrl-C
	operatorTwice // Ctrl-C and again
	held          // the program is held up
	diskFull
	diskError
	killed // kill -9
	numKinds
)

var kindNames = [numKinds]string{"loss", "delay", "duplication", "reordering", "corruption", "babbling",
	"dropout", "frozen sensor", "node restart", "stop button", "guard opened", "live vehicle", "stranger",
	"second commander", "red lamp", "surge", "overflow", "bus error", "bus down", "Ctrl-C",
	"Ctrl-C twice", "held up", "disk full", "disk error", "killed"}

func (k kind) String() string { return kindNames[k] }

// trouble is one thing that goes wrong, from a time after the start on and for a time.
type trouble struct {
	kind     kind
	from, to time.Duration
	share    float64 // of the frames
	most     time.Duration
	pick     int // which of several ways
}

func (t *trouble) on(at time.Duration) bool { return at >= t.from && at < t.to }

// String is what a person reads in a failing seed's story.
func (t *trouble) String() string {
	when := fmt.Sprintf("from %.2f to %.2f s", t.from.Seconds(), t.to.Seconds())
	if t.to <= t.from {
		when = fmt.Sprintf("at %.2f s", t.from.Seconds())
	}
	switch t.kind {
	case loss, duplication, corruption, overflow:
		return fmt.Sprintf("%s of %.0f %% of the frames %s", t.kind, 100*t.share, when)
	case delay, reordering, held:
		return fmt.Sprintf("%s by %d ms %s", t.kind, t.most.Milliseconds(), when)
	}
	return fmt.Sprintf("%s %s (variant %d)", t.kind, when, t.pick)
}

// drawTrouble draws one trouble within the length of a run.
func drawTrouble(r *rand.Rand, k kind, length time.Duration) trouble {
	t := trouble{kind: k, from: time.Duration(r.Float64() * float64(length)), pick: r.IntN(8)}
	short := func(least, most time.Duration) time.Duration {
		return t.from + least + time.Duration(r.Float64()*float64(most-least))
	}
	switch k {
	case loss, duplication, corruption, overflow:
		t.share, t.to = 0.02+0.6*r.Float64()*r.Float64(), short(50*time.Millisecond, 8*time.Second)
	case delay, reordering:
		t.share, t.to = 0.1+0.6*r.Float64(), short(100*time.Millisecond, 8*time.Second)
		t.most = time.Duration(1+r.IntN(150)) * time.Millisecond
	case babbling:
		t.to = short(5*time.Millisecond, 600*time.Millisecond)
	case dropout, frozen, surge:
		t.to = short(10*time.Millisecond, 2*time.Second)
	case restart:
		t.to = short(250*time.Millisecond, 3*time.Second)
	case stopButton, guardOpened:
		t.to = short(150*time.Millisecond, 5*time.Second)
	case vehicle, redLamp:
		t.to = short(200*time.Millisecond, 2*time.Second)
	case operatorTwice:
		t.to = short(10*time.Millisecond, 3*time.Second)
	case held:
		t.most = time.Duration(20+r.IntN(1200)) * time.Millisecond
	default:
		t.to = t.from
	}
	return t
}
