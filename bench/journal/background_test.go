package journal_test

import (
	"bytes"
	"errors"
	"path/filepath"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"holdfast/bench/journal"
	"holdfast/bench/rig"
	"holdfast/bench/samples"
	"holdfast/j1939/spn"
)

// stuck is a disk whose Sync waits until it is let go.
type stuck struct {
	journal.Memory
	sync.Mutex
	fail error
}

func (s *stuck) Sync() error {
	s.Lock()
	defer s.Unlock()
	if s.fail != nil {
		return s.fail
	}
	return s.Memory.Sync()
}

func TestBackground_SlowDiskDoesNotHoldUpTheCycle(t *testing.T) {
	disk := &stuck{}
	w, err := journal.NewWriter(journal.NewBackground(disk), header())
	require.NoError(t, err)
	disk.Lock()
	begun := time.Now()
	for i := range 10 { // ten seconds of a disk that answers nothing
		at := t0.Add(time.Duration(i) * time.Second)
		require.NoError(t, w.Reading(rig.Reading{Time: at, Channel: rig.PumpSpeed, Status: spn.Valid}))
		require.NoError(t, w.Tick(at))
	}
	require.Less(t, time.Since(begun), 2*time.Second)
	disk.Unlock()
	require.NoError(t, w.End(t0, samples.Completed, 0))
	require.NoError(t, w.Close())
	_, rec, err := journal.Read(bytes.NewReader(disk.Synced()))
	require.NoError(t, err)
	require.Len(t, rec.Channels[rig.PumpSpeed].T, 10)
	require.Equal(t, samples.Completed, rec.Ended)
}

func TestBackground_DiskThatNeverComesBackIsAnError(t *testing.T) {
	disk := &stuck{}
	w, err := journal.NewWriter(journal.NewBackground(disk), header())
	require.NoError(t, err)
	disk.Lock()
	for i := 0; err == nil && i < 100; i++ {
		at := t0.Add(time.Duration(i) * time.Second)
		err = errors.Join(w.Event(at, "still here"), w.Tick(at))
	}
	disk.Unlock()
	require.ErrorIs(t, err, journal.ErrSlow)
	require.ErrorIs(t, w.Close(), journal.ErrSlow)
}

func TestBackground_SyncErrorComesBack(t *testing.T) {
	disk := &stuck{}
	w, err := journal.NewWriter(journal.NewBackground(disk), header())
	require.NoError(t, err)
	gone := errors.New("input/output error")
	disk.Lock()
	disk.fail = gone
	disk.Unlock()
	require.NoError(t, w.Event(t0, "lost"))
	require.ErrorIs(t, w.Flush(), gone)
	require.ErrorIs(t, w.Close(), gone)
}

func TestCreate(t *testing.T) {
	path := filepath.Join(t.TempDir(), "run.journal")
	w, err := journal.Create(path, header())
	require.NoError(t, err)
	require.NoError(t, w.End(t0, samples.Completed, 0))
	require.NoError(t, w.Close())
	require.NoError(t, w.Close())
	h, rec, err := journal.Open(path)
	require.NoError(t, err)
	require.Equal(t, header(), h)
	require.Equal(t, samples.Completed, rec.Ended)
	_, err = journal.Create(path, header())
	require.Error(t, err, "an existing record is never written over")
}
