package journal

import "errors"

// Memory is a File in memory for runs in virtual time, with a disk that can fill up.
type Memory struct {
	Limit  int // bytes it takes before it fails with ErrFull; 0: no limit
	bytes  []byte
	synced int
}

// ErrFull is returned by a Memory when its Limit is reached.
var ErrFull = errors.New("no space left")

// Write appends p, or as much of it as fits.
func (m *Memory) Write(p []byte) (int, error) {
	if m.Limit > 0 && len(m.bytes)+len(p) > m.Limit {
		n := max(0, m.Limit-len(m.bytes))
		m.bytes = append(m.bytes, p[:n]...)
		return n, ErrFull
	}
	m.bytes = append(m.bytes, p...)
	return len(p), nil
}

// Sync marks what was written as durable.
func (m *Memory) Sync() error {
	m.synced = len(m.bytes)
	return nil
}

// Bytes returns what was written.
func (m *Memory) Bytes() []byte { return m.bytes }

// Synced returns what would be left after a loss of power.
func (m *Memory) Synced() []byte { return m.bytes[:m.synced] }
