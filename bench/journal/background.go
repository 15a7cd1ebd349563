package journal

import (
	"errors"
	"fmt"
	"io"
	"sync/atomic"
)

// pending is how many blocks may wait for the disk. With one block a second that is more than
// a quarter of a minute of a disk that answers nothing, in 1 MiB.
const pending = 16

// ErrSlow says that the disk is too far behind with what was handed to it.
var ErrSlow = errors.New("the disk is too slow: too much is waiting to be written")

var errClosed = errors.New("the file is closed")

// Background is a File that writes and syncs another one in a goroutine of its own. A sync may take
// hundreds of milliseconds, and the bench node takes its safe state when commands are absent for less
// than that. Write and Sync return at once, with the first error from the disk so far;
// Drain and Close wait. Write, Sync, Drain and Close are called from one goroutine.
type Background struct {
	file   File
	free   chan []byte
	blocks chan []byte   // to write, in order; never more than pending of them exist
	wanted chan struct{} // a sync of all that was handed over before
	drain  chan chan struct{}
	err    atomic.Pointer[error]
	shut   bool
}

// NewBackground starts the goroutine that writes f. Close ends it and closes f if that is an io.Closer.
func NewBackground(f File) *Background {
	b := &Background{file: f, free: make(chan []byte, pending), blocks: make(chan []byte, pending),
		wanted: make(chan struct{}, 1), drain: make(chan chan struct{})}
	for range pending {
		b.free <- make([]byte, 0, maxBlock)
	}
	go b.work()
	return b
}

// Write hands p over. It returns ErrSlow if too much is already waiting.
func (b *Background) Write(p []byte) (int, error) {
	if err := b.failed(); err != nil {
		return 0, err
	}
	select {
	case block := <-b.free:
		b.blocks <- append(block[:0], p...)
		return len(p), nil
	default:
		return 0, ErrSlow
	}
}

// Sync asks for everything handed over so far to be made durable. A request that still waits
// covers this one.
func (b *Background) Sync() error {
	select {
	case b.wanted <- struct{}{}:
	default:
	}
	return b.failed()
}

// Drain waits until everything handed over has been written and synced.
func (b *Background) Drain() error {
	if !b.shut {
		done := make(chan struct{})
		b.drain <- done
		<-done
	}
	return b.failed()
}

// Close drains, ends the goroutine and closes the file. A second call does nothing.
func (b *Background) Close() error {
	if b.shut {
		return nil
	}
	err := b.Drain()
	b.shut = true
	close(b.drain)
	if c, ok := b.file.(io.Closer); ok {
		err = errors.Join(err, c.Close())
	}
	b.fail(errClosed)
	return err
}

func (b *Background) failed() error {
	if p := b.err.Load(); p != nil {
		return *p
	}
	return nil
}

// fail keeps the first error.
func (b *Background) fail(err error) {
	if err != nil {
		b.err.CompareAndSwap(nil, &err)
	}
}

// work writes and syncs until drain is closed.
func (b *Background) work() {
	for {
		select {
		case block := <-b.blocks:
			b.put(block)
		case <-b.wanted:
			b.putAll()
			b.sync()
		case done, ok := <-b.drain:
			if !ok {
				return
			}
			b.putAll()
			b.sync()
			close(done)
		}
	}
}

// putAll writes what has been handed over by now.
func (b *Background) putAll() {
	for {
		select {
		case block := <-b.blocks:
			b.put(block)
		default:
			return
		}
	}
}

// put writes one block. After an error it writes nothing: what follows a hole is of no use.
func (b *Background) put(block []byte) {
	defer func() { b.free <- block }()
	defer b.caught()
	if b.failed() == nil {
		n, err := b.file.Write(block)
		if err == nil && n < len(block) {
			err = io.ErrShortWrite
		}
		b.fail(err)
	}
}

func (b *Background) sync() {
	defer b.caught()
	if b.failed() == nil {
		if err := b.file.Sync(); err != nil {
			b.fail(fmt.Errorf("sync: %w", err))
		}
	}
}

// caught makes a panic of the file an error of the journal: it would end the process before the safe
// state is sent.
func (b *Background) caught() {
	if p := recover(); p != nil {
		b.fail(fmt.Errorf("writing failed inside: %v", p))
	}
}
