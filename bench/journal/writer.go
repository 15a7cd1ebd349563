package journal

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"time"
	"unicode/utf8"

	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/bench/scenario"
	"holdfast/j1939/clock"
)

// SyncEvery is how often Tick makes what was recorded durable: a loss of power loses no more than that.
const SyncEvery = time.Second

// File is what a journal is written to: an *os.File, a Background around one, or a Memory.
type File interface {
	io.Writer
	Sync() error
}

// Writer records one run. It is used from one goroutine. After an error every method returns that
// error and nothing more is written: a run whose journal cannot be written must not go on.
// No method but StepStart, StepEnd, Event and Trip (whose texts are the caller's) touches the heap.
type Writer struct {
	file   File
	buf    []byte // the block being filled: blockHead bytes, then records
	room   int    // bytes that a block may take
	err    error
	synced clock.Instant // when Tick last made the record durable
	ticked bool
	dirty  bool // bytes were written since the last Sync
	ended  bool
	closed bool
	last   [rig.NumCommands]uint64 // bits of the last recorded value of each command
	known  [rig.NumCommands]bool
	chain  chain
}

var errEnded = errors.New("the journal has been ended: nothing can follow")

// NewWriter writes the header of a record that nobody signs (format version 1) and makes it durable.
func NewWriter(f File, h Header) (*Writer, error) { return NewSigned(f, h, nil) }

// NewSigned is NewWriter for a record whose blocks are chained and signed as it grows (format version 2):
// the header, then every time that it is made durable, and its end. Without a key it is NewWriter.
func NewSigned(f File, h Header, key Signer) (*Writer, error) {
	id, err := h.encode()
	if err != nil {
		return nil, err
	}
	w := &Writer{file: f, buf: make([]byte, blockHead, maxBlock), room: maxBlock}
	w.start(key)
	w.block(blockIdentity, id)
	w.text(blockScenario, h.ScenarioText)
	w.text(blockRig, h.RigText)
	w.text(blockDBC, h.DBC)
	if err := w.Flush(); err != nil {
		return nil, fmt.Errorf("write journal header: %w", err)
	}
	return w, nil
}

func (w *Writer) text(kind byte, b []byte) {
	for len(b) > 0 {
		n := min(len(b), maxPayload)
		w.block(kind, b[:n])
		b = b[n:]
	}
}

// block writes one block that is not of records.
func (w *Writer) block(kind byte, payload []byte) {
	b := append(make([]byte, blockHead, blockHead+len(payload)), payload...)
	sealBlock(b, kind)
	w.link(b)
	w.write(b)
}

func (w *Writer) write(b []byte) {
	if w.err != nil {
		return
	}
	n, err := w.file.Write(b)
	if err == nil && n < len(b) {
		err = io.ErrShortWrite
	}
	if err != nil {
		w.err = fmt.Errorf("journal not writable: %w", err)
	}
	w.dirty = true
}

// put writes the block being filled, if there is anything in it; sign: and a signature over all so far.
func (w *Writer) put(sign bool) {
	out := w.buf[:0]
	if len(w.buf) > blockHead {
		out = w.buf
		sealBlock(out, blockRecords)
		w.link(out)
	}
	if sign {
		out = w.sign(out)
	}
	if len(out) > 0 {
		w.write(out)
	}
	w.buf = w.buf[:blockHead]
}

// record opens a record of at most n bytes.
func (w *Writer) record(kind byte, n int) bool {
	if w.err == nil && w.ended {
		w.err = errEnded
	}
	if w.err != nil {
		return false
	}
	if len(w.buf)+n+1 > w.room {
		w.put(false)
	}
	w.buf = append(w.buf, kind)
	return w.err == nil
}

func (w *Writer) time(t clock.Instant) { w.u64(uint64(t)) }
func (w *Writer) u64(v uint64)         { w.buf = binary.LittleEndian.AppendUint64(w.buf, v) }
func (w *Writer) u16(v uint16)         { w.buf = binary.LittleEndian.AppendUint16(w.buf, v) }

// string appends a text, cut at a rune when it is longer than the format allows.
func (w *Writer) string(s string) {
	if len(s) > maxString {
		n := maxString
		for n > maxString-utf8.UTFMax && !utf8.RuneStart(s[n]) {
			n--
		}
		s = s[:n]
	}
	w.u16(uint16(len(s)))
	w.buf = append(w.buf, s...)
}

func stringSize(s string) int { return 2 + min(len(s), maxString) }

// Reading records one reading, whatever its status.
func (w *Writer) Reading(r rig.Reading) error {
	if w.record(recReading, 18) {
		w.buf = append(w.buf, byte(r.Channel), byte(r.Status))
		w.time(r.Time)
		w.u64(math.Float64bits(r.Value))
	}
	return w.err
}

// Command records what is commanded from t on. A value that is already in force is not
// recorded again, so it may be called in every cycle.
func (w *Writer) Command(t clock.Instant, c rig.Command, v float64) error {
	bits := math.Float64bits(v)
	if w.err == nil && c < rig.NumCommands && w.known[c] && w.last[c] == bits {
		return nil
	}
	if w.record(recCommand, 17) {
		w.buf = append(w.buf, byte(c))
		w.time(t)
		w.u64(bits)
		if c < rig.NumCommands {
			w.last[c], w.known[c] = bits, true
		}
	}
	return w.err
}

// StepStart records that step index of the plan begins, and makes what came before durable.
func (w *Writer) StepStart(t clock.Instant, index int, name string, kind scenario.Kind) error {
	if w.record(recStepStart, 11+stringSize(name)) {
		w.time(t)
		w.u16(uint16(index))
		w.buf = append(w.buf, byte(kind))
		w.string(name)
	}
	return w.hand()
}

// StepEnd records how step index ended, and makes what came before durable.
func (w *Writer) StepEnd(t clock.Instant, index int, outcome samples.Outcome, note string) error {
	if w.record(recStepEnd, 11+stringSize(note)) {
		w.time(t)
		w.u16(uint16(index))
		w.buf = append(w.buf, byte(outcome))
		w.string(note)
	}
	return w.hand()
}

// Event records something that happened, with a text.
func (w *Writer) Event(t clock.Instant, text string) error {
	if w.record(recEvent, 8+stringSize(text)) {
		w.time(t)
		w.string(text)
	}
	return w.err
}

// Fault records a diagnostic trouble code as it stands now. A code with the same source, SPN, FMI
// and activity replaces what was recorded before, keeping the earliest First.
func (w *Writer) Fault(f samples.Fault) error {
	if w.record(recFault, 24) {
		active := byte(0)
		if f.Active {
			active = 1
		}
		w.buf = append(w.buf, f.Source, f.FMI, f.Count, active)
		w.buf = binary.LittleEndian.AppendUint32(w.buf, f.SPN)
		w.time(f.First)
		w.time(f.Last)
	}
	return w.err
}

// Trip records why the interlock ended the run, and makes it durable.
func (w *Writer) Trip(t samples.Trip) error {
	n := stringSize(t.Name) + stringSize(t.Reading) + stringSize(t.Limit) + stringSize(t.Next)
	if w.record(recTrip, 8+n) {
		w.time(t.Time)
		w.string(t.Name)
		w.string(t.Reading)
		w.string(t.Limit)
		w.string(t.Next)
	}
	return w.hand()
}

// Timing records how punctual the command cycle was.
func (w *Writer) Timing(t samples.Timing) error {
	if w.record(recTiming, 48) {
		for _, v := range [...]int64{int64(t.Cycles), int64(t.Overruns),
			int64(t.Worst), int64(t.Median), int64(t.P99), int64(t.P999)} {
			w.u64(uint64(v))
		}
	}
	return w.err
}

// Tick makes the record durable when SyncEvery has passed since the last time. Call it in every cycle.
func (w *Writer) Tick(now clock.Instant) error {
	since := now.Sub(w.synced)
	if w.ticked && since >= 0 && since < SyncEvery {
		return w.err
	}
	w.synced, w.ticked = now, true
	return w.hand()
}

// hand gives everything recorded so far to the file and asks it to make it durable. With a
// Background file it does not wait for the disk.
func (w *Writer) hand() error {
	w.put(true)
	if w.err == nil && w.dirty {
		w.dirty = false
		if err := w.file.Sync(); err != nil {
			w.err = fmt.Errorf("journal not writable: %w", err)
		}
	}
	return w.err
}

// Flush makes everything recorded so far durable and waits until it is.
func (w *Writer) Flush() error {
	if err := w.hand(); err != nil {
		return err
	}
	if d, ok := w.file.(interface{ Drain() error }); ok {
		if err := d.Drain(); err != nil {
			w.err = fmt.Errorf("journal not writable: %w", err)
		}
	}
	return w.err
}

// End records how the run ended. Nothing but Close may follow.
func (w *Writer) End(t clock.Instant, ended samples.Ended, framesLost uint64) error {
	if w.record(recEnd, 17) {
		w.time(t)
		w.buf = append(w.buf, byte(ended))
		w.u64(framesLost)
		w.ended = true
	}
	return w.Flush()
}

// Close flushes and closes the file. Without End before it the run reads as interrupted.
// A second call does nothing.
func (w *Writer) Close() error {
	if w.closed {
		return nil
	}
	w.closed = true
	err := w.Flush()
	if c, ok := w.file.(io.Closer); ok {
		err = errors.Join(err, c.Close())
	}
	if w.err == nil {
		w.err = errors.New("the journal is closed")
	}
	return err
}
