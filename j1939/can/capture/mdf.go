package capture

import (
	"fmt"
	"io"
	"strconv"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture/mdf"
)

// openMDF reads the metadata of a file whose blocks point to each other, which no pipe can follow.
func (r *Reader) openMDF() error {
	in, ok := r.input.(interface {
		io.ReaderAt
		io.Seeker
	})
	if !ok {
		return fmt.Errorf("%s: an MDF 4 file cannot be read from a pipe: save it and give its path", r.name)
	}
	size, err := in.Seek(0, io.SeekEnd)
	if err != nil {
		return fmt.Errorf("%s: an MDF 4 file cannot be read from a pipe: %w", r.name, err)
	}
	if r.mdf, err = mdf.New(in, size); err != nil {
		return fmt.Errorf("%s: %w", r.name, err)
	}
	return nil
}

// receiveMDF hands out the next frames; the error, if any, comes after them.
func (r *Reader) receiveMDF(dst []can.Frame) (n int, err error) {
	var record mdf.Record
	for n < len(dst) {
		if err := r.mdf.Next(&record); err != nil {
			if err != io.EOF {
				err = fmt.Errorf("%s: %w", r.name, err)
			}
			return n, err
		}
		channel, ok := r.channel(strconv.AppendUint([]byte("bus"), record.Bus, 10))
		switch {
		case record.FD:
			r.stats.Skipped++
		case record.Bad != "" || !ok:
			r.malformedAt(noOffset, record.Bad)
		default:
			dst[n] = record.Frame
			dst[n].Channel = channel
			r.count(&dst[n])
			r.now = record.Time
			n++
		}
	}
	return n, nil
}
