package torture

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"time"

	"holdfast/bench/engine"
	"holdfast/bench/journal"
	"holdfast/bench/judge"
	"holdfast/bench/rig"
	"holdfast/bench/rig/rigfile"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/bench/scenario/scenariofile"
	"holdfast/bench/session"
	"holdfast/cmd/holdfast/lies"
	"holdfast/cmd/holdfast/simbench"
	"holdfast/j1939/can"
	"holdfast/j1939/can/virtual"
	"holdfast/j1939/clock"
	"holdfast/scenarios"
	"holdfast/sim"
	"holdfast/sim/lie"
)

// Report is what became of one seed.
type Report struct {
	Seed     uint64
	Story    []string // what was drawn
	Ended    string   // completed, stopped, tripped, bench fault, failed, killed, refused
	Trip     string
	Verdict  string
	Kinds    []string // of troubles
	Rig      string
	Faults   []string      // of the unit
	Lies     []string      // kinds of lies of the bench
	Broken   []string      // checkers that did not hold; empty is what is wanted
	Digest   uint64        // of every frame and every byte on the disk
	Length   time.Duration // of the run, in its own time
	Answered bool          // a pressure above the limit was heard and answered
	Answer   time.Duration // how long that took
}

// Bench is what every seed shares: the shipped rigs, with all their channels.
type Bench struct {
	bare *rig.Rig // bench-node
	own  *rig.Rig // unit-controller
	lies []string // told about the instruments of every seed, on the rigs that have them
}

// NewBench reads the shipped rigs.
func NewBench() (*Bench, error) {
	bare, bareErr := shippedRig("bench-node")
	own, ownErr := shippedRig("unit-controller")
	return &Bench{bare: bare, own: own}, errors.Join(bareErr, ownErr)
}

func shippedRig(name string) (*rig.Rig, error) {
	text, shown, err := scenarios.ReadRig(name)
	if err != nil {
		return nil, err
	}
	return rigfile.Parse(shown, text, scenarios.ReadDBC)
}

// Lie has every seed tell lies about its instruments, as holdfast run --lie has them. A lie that neither rig has
// the channels for is an error.
func (b *Bench) Lie(texts []string) error {
	for _, text := range texts {
		_, bare := lies.Parse(lies.Table(b.bare), text)
		_, own := lies.Parse(lies.Table(b.own), text)
		if bare != nil && own != nil {
			return bare
		}
	}
	b.lies = texts
	return nil
}

func (b *Bench) rigOf(t *trial) *rig.Rig {
	if t.own {
		return b.own
	}
	return b.bare
}

// run is one seed being run.
type run struct {
	told []lie.Lie
	*trial
	bench   *bench
	bus     *virtual.Bus
	wire    *wire
	watch   *watch
	disk    *disk
	ledger  *ledger
	rig     *rig.Rig
	plan    *scenario.Plan
	port    can.Port // what the harness is given: wire, unless a test spoils it
	outcome engine.Outcome
	failed  error
	refused bool // the journal could not even be begun
}

// Run runs one seed and holds the checkers against it. The error says that the seed could not be run.
func (b *Bench) Run(seed uint64) (Report, error) { return b.run(seed, nil) }

// RunTwice runs a seed twice, from nothing, and adds to the checkers that both give the same bytes.
func (b *Bench) RunTwice(seed uint64) (Report, error) {
	first, err := b.Run(seed)
	if err != nil {
		return first, err
	}
	second, err := b.Run(seed)
	if err == nil && first.Digest != second.Digest {
		first.Broken = append(first.Broken, "run a second time the seed gave other bytes")
	}
	return first, err
}

// run lets a test spoil what has been built, to see that the checkers notice.
func (b *Bench) run(seed uint64, spoil func(*run)) (Report, error) {
	t := draw(seed)
	r := &run{trial: t, rig: b.rigOf(t)}
	r.told = t.drawLies(r.rig)
	if b.lies != nil { // chosen, in place of what is drawn
		r.told, _ = lies.Fitting(lies.Table(r.rig), b.lies)
	}
	if err := r.build(); err != nil {
		return Report{}, fmt.Errorf("seed %d: %w", seed, err)
	}
	if spoil != nil {
		spoil(r)
	}
	finished := make(chan struct{})
	go func() {
		defer close(finished)
		r.harness()
	}()
	<-finished
	end := r.bus.Now()
	r.settle(end)
	return r.report(end), nil
}

func (r *run) build() (err error) {
	if r.plan, err = scenariofile.Parse("torture.yaml", []byte(r.scenario)); err != nil {
		return err
	}
	if err := scenariofile.Fits(r.plan, r.rig); err != nil {
		return err
	}
	r.watch = &watch{trial: r.trial, start: simbench.Epoch, told: r.told}
	if r.bench, err = newBench(r.trial, r.rig, r.watch); err != nil {
		return err
	}
	r.bus = simbench.NewBus()
	if len(r.told) > 0 {
		r.bus.Attach(lie.Process(r.bench, lie.New(r.told, simbench.Epoch, r.seed)))
	} else {
		r.bus.Attach(r.bench)
	}
	for _, b := range babblers(r.trial, simbench.Epoch) {
		r.bus.Attach(b)
	}
	r.wire = &wire{Port: r.bus.Open("harness"), bus: r.bus, trial: r.trial, watch: r.watch, start: simbench.Epoch,
		done: make([]bool, len(r.troubles))}
	r.person.wire = r.wire
	r.port, r.ledger = r.wire, &ledger{gauge: r.gauge()}
	r.disk = &disk{wire: r.wire, ledger: r.ledger}
	return nil
}

// harness is the program under torture. It may be killed anywhere inside.
func (r *run) harness() {
	orderly, end := context.WithCancel(context.Background())
	atOnce, now := context.WithCancel(context.Background())
	defer end()
	defer now()
	r.wire.end, r.wire.now = end, now
	w, err := journal.NewWriter(r.disk, session.Header(r.identity(), r.plan, r.rig))
	if err != nil {
		r.refused = true
		return
	}
	r.ledger.Writer = w
	r.outcome, r.failed = engine.Run(orderly, engine.Config{Plan: r.plan, Rig: r.rig, Port: r.port,
		Journal: r.ledger, AtOnce: atOnce, Asker: &r.person})
	_ = w.Close() // its error is the disk's, which the checkers know
}

// settle lets the bench go on without the harness until the last command that reached the node is older
// than its time-out, and looks at its outputs.
func (r *run) settle(end clock.Instant) {
	if !r.wire.dead && !r.refused && !r.watch.disturbed(end) {
		r.bus.Advance(end.Add(10 * time.Millisecond))
		r.requireRest("at the end of the run")
	}
	for limit := end.Add(5 * time.Second); r.bus.Now() < limit; {
		r.bus.Advance(r.bus.Now().Add(10 * time.Millisecond))
		if r.bus.Now().Sub(max(r.watch.nodeHeard, end)) >= r.timeout()+cycle {
			break
		}
	}
	r.requireRest(fmt.Sprintf("%v and a cycle after the last command", r.timeout()))
}

func (r *run) requireRest(when string) {
	if disobeys(r.told) {
		return
	}
	o := r.bench.Driven()
	if o.Drive != 0 || o.Duty != 0 || o.Valve || o.Shutoff || o.Heater || o.Vent {
		r.watch.fail(r.bus.Now(), "outputs are not safe %s: %+v", when, o)
	}
}

func (r *run) report(end clock.Instant) Report {
	kept := r.disk.left()
	out := Report{Seed: r.seed, Rig: r.rig.Name, Ended: r.ended(), Length: end.Sub(simbench.Epoch), Verdict: "none",
		Answered: r.watch.answered, Answer: r.watch.answer}
	for i := range r.troubles {
		out.Kinds = append(out.Kinds, r.troubles[i].kind.String())
		out.Story = append(out.Story, r.troubles[i].String())
	}
	for i := range r.told {
		out.Lies = append(out.Lies, r.told[i].Kind.Name)
		out.Story = append(out.Story, "lie: "+r.told[i].Text)
	}
	for _, name := range sim.FaultNames() {
		if severity, drawn := r.faults[name]; drawn {
			out.Faults = append(out.Faults, name)
			out.Story = append(out.Story, fmt.Sprintf("unit: %s %.2f", name, severity))
		}
	}
	if t := r.outcome.Trip; t != nil {
		out.Trip = t.Name
	}
	if !r.refused {
		out.Verdict = r.checkRecord(kept)
	}
	r.checkOutcome()
	out.Broken, out.Digest = r.watch.broken, digestOf(r.watch.digest, kept)
	return out
}

func (r *run) ended() string {
	switch {
	case r.wire.dead:
		return "killed"
	case r.refused:
		return "refused"
	}
	return r.outcome.Ended.String()
}

// read is the record as somebody reads it later.
func (r *run) read(kept []byte) (*samples.Recording, error) {
	_, rec, err := journal.Read(bytes.NewReader(kept))
	return rec, err
}

func (r *run) judged(rec *samples.Recording) *judge.Result {
	return judge.Judge(r.identity(), rec, r.rig, r.plan)
}

func (r *run) identity() samples.Identity {
	return simbench.Identity(fmt.Sprint(r.seed), "TORTURE", r.plan, r.rig, r.seed, r.faults)
}
