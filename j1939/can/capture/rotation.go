package capture

import (
	"time"

	"holdfast/j1939/can"
)

// Rotation records the frames of one interface in one file after another, each of a bounded size.
type Rotation struct {
	iface     string
	each      int64 // bytes
	direction Direction
	next      func(first time.Time) (string, error)
	writer    *Writer
	left      int64 // bytes of the file that is open
	recorded  int   // frames
}

// Rotate records in files of about each bytes. next names the next file, whose first frame came at a time, and makes
// room for it; its error ends the recording.
func Rotate(iface string, each int64, d Direction, next func(first time.Time) (string, error)) *Rotation {
	return &Rotation{iface: iface, each: each, direction: d, next: next}
}

// Write records frames, and begins a new file where the last one is full.
func (r *Rotation) Write(frames []can.Frame) error {
	for i := range frames {
		if r.writer == nil || r.left <= 0 {
			if err := r.turn(frames[i].Time.Time()); err != nil {
				return err
			}
		}
		f := frames[i]
		f.Channel = 0
		if err := r.writer.Write(f, r.direction); err != nil {
			return err
		}
		r.left -= int64(blockSize(r.direction))
		r.recorded++
	}
	return nil
}

func (r *Rotation) turn(first time.Time) error {
	if err := r.Close(); err != nil {
		return err
	}
	path, err := r.next(first)
	if err != nil {
		return err
	}
	r.writer, err = Create(path, r.iface)
	r.left = r.each
	return err
}

// Recorded is how many frames were written.
func (r *Rotation) Recorded() int { return r.recorded }

// Flush hands what was recorded to the file.
func (r *Rotation) Flush() error {
	if r.writer == nil {
		return nil
	}
	return r.writer.Flush()
}

// Close ends the file.
func (r *Rotation) Close() error {
	if r.writer == nil {
		return nil
	}
	w := r.writer
	r.writer = nil
	return w.Close()
}
