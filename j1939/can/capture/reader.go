package capture

import (
	"errors"
	"fmt"
	"io"
	"os"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture/mdf"
	"holdfast/j1939/clock"
)

// bufferBytes is what is read at once. It holds the longest record that is parsed (maxRecord) several times.
const bufferBytes = 256 << 10

// decoder turns bytes of one format into frames.
type decoder interface {
	// decode parses records from the start of data until dst is full or a record is not complete, and
	// returns the number of frames and of bytes it is done with. used may exceed len(data): the reader
	// then skips what is still to come. final says that data ends where the recording ends: all
	// of it must then be used unless dst is full.
	decode(data []byte, final bool, dst []can.Frame) (n, used int, err error)
}

// Reader reads one recording from its beginning to its end. It is not safe for use by
// several goroutines. Frames keep the recorded order and the recorded times, which need not rise.
type Reader struct {
	tally
	input   io.Reader
	closer  io.Closer // nil: nothing to close
	name    string
	decoder decoder
	mdf     *mdf.Reader // instead of a decoder: a file whose blocks point to each other

	buffer     []byte
	start, end int  // what is read and not yet decoded
	skip       int  // bytes to pass over before the next record
	final      bool // the input has ended
	failure    error
	now        clock.Instant
}

var _ can.Source = (*Reader)(nil)

// Open opens a recording and finds out its format from its first bytes.
func Open(path string) (*Reader, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("open recording: %w", err)
	}
	r, err := NewReader(f, path)
	if err != nil {
		f.Close()
		return nil, err
	}
	r.closer = f
	return r, nil
}

// NewReader reads a recording from input, for instance a pipe. The name stands in errors and warnings.
func NewReader(input io.Reader, name string) (*Reader, error) {
	r := &Reader{input: input, name: name, buffer: make([]byte, bufferBytes)}
	r.tally.init()
	for r.end < sniffBytes && !r.final {
		if err := r.fill(); err != nil {
			return nil, fmt.Errorf("read recording %s: %w", name, err)
		}
	}
	if mdf.Is(r.buffer[:r.end]) {
		return r, r.openMDF()
	}
	var err error
	if r.decoder, err = sniff(r.buffer[:r.end], &r.tally); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return r, nil
}

// Now is the time of the last frame handed out; 0 before the first.
func (r *Reader) Now() clock.Instant { return r.now }

// Receive hands out the next frames at once, as fast as they can be read: until is ignored, a
// recording has no time of its own to wait for. io.EOF says that the recording has ended.
func (r *Reader) Receive(dst []can.Frame, _ clock.Instant) (int, error) {
	if r.failure != nil || len(dst) == 0 {
		return 0, r.failure
	}
	if r.mdf != nil {
		n, err := r.receiveMDF(dst)
		r.failure = err
		if n > 0 {
			err = nil
		}
		return n, err
	}
	for {
		n, err := r.decode(dst)
		if n > 0 {
			r.now = dst[n-1].Time
			r.failure = err // said by the next call, after the frames before it
			return n, nil
		}
		if err == nil {
			err = r.more()
		}
		if err != nil {
			r.failure = err
			return 0, err
		}
	}
}

// decode hands the bytes at hand to the decoder.
func (r *Reader) decode(dst []can.Frame) (int, error) {
	if r.skip > 0 {
		passed := min(r.skip, r.end-r.start)
		r.skip -= passed
		r.start += passed
		if r.skip > 0 {
			return 0, nil
		}
	}
	n, used, err := r.decoder.decode(r.buffer[r.start:r.end], r.final, dst)
	r.skip = max(0, used-(r.end-r.start))
	r.start += used - r.skip
	r.offset += int64(used)
	if err != nil {
		err = fmt.Errorf("%s: %w", r.name, err)
	}
	return n, err
}

// more reads on, or says how the recording ended.
func (r *Reader) more() error {
	if !r.final {
		if err := r.fill(); err != nil {
			return fmt.Errorf("read recording %s: %w", r.name, err)
		}
		return nil
	}
	if r.start < r.end && r.skip == 0 {
		return nil // a decoder that stopped early is asked again
	}
	if r.skip > 0 {
		r.malformed("the recording ends inside a record")
		r.skip = 0
	}
	if r.line > 0 && r.stats.Received+r.stats.ErrorFrames == 0 && r.malformedCount > 0 {
		return fmt.Errorf("%s: holds no CAN frame: %v", r.name, r.malformedFirst[0])
	}
	return io.EOF
}

// fill moves what is left to the front and reads once behind it.
func (r *Reader) fill() error {
	if r.start > 0 {
		copy(r.buffer, r.buffer[r.start:r.end])
		r.end -= r.start
		r.start = 0
	}
	for range 100 { // as bufio does: a reader that gives nothing for ever is broken
		n, err := r.input.Read(r.buffer[r.end:])
		r.end += n
		if err == io.EOF {
			r.final = true
			return nil
		}
		if n > 0 || err != nil {
			return err
		}
	}
	return io.ErrNoProgress
}

// Stats counts the frames handed out, the error frames among the records, and the records skipped.
func (r *Reader) Stats() can.Stats { return r.stats }

// Close closes the file. It may be called twice.
func (r *Reader) Close() error {
	r.failure = fmt.Errorf("read recording %s: %w", r.name, os.ErrClosed)
	if r.closer == nil {
		return nil
	}
	err := r.closer.Close()
	r.closer = nil
	if err != nil && !errors.Is(err, os.ErrClosed) {
		return fmt.Errorf("close recording: %w", err)
	}
	return nil
}
