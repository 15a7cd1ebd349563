package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"github.com/rs/zerolog"
	"github.com/spf13/cobra"

	"holdfast/cmd/holdfast/oplog"
	"holdfast/cmd/holdfast/simbench"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/trace"
)

type recordOptions struct {
	iface, out string
	eachMB     int
	keep       int
	forTime    time.Duration
	level      oplog.Level
}

func newRecordCommand() *cobra.Command {
	var o recordOptions
	cmd := &cobra.Command{
		Use:   "record INTERFACE --out FILE.pcapng",
		Short: "Record the traffic of a CAN interface in files of bounded size and number",
		Long: `Records every frame of an interface, error frames of the controller too, with the kernel's time stamps in
nanoseconds (pcapng, link type 227: tshark reads it). It listens and has no way to send. Whether the controller
acknowledges what others send depends on the interface: holdfast bus show tells.

--out truck.pcapng makes truck-0001.pcapng, truck-0002.pcapng and so on, each of about --mb megabytes; the oldest
goes when there would be more than --keep. With --keep 1 there is truck.pcapng alone, and recording ends when
it is full. A crash costs a second at most. Ctrl-C or --for ends it. The last line says how many frames were
recorded and whether any were lost.` + exitHelp,
		Example: `  holdfast record can0 --out truck.pcapng
  holdfast record can0 --out truck.pcapng --mb 16 --keep 100 --for 8h`,
		Args: wants("INTERFACE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.iface = args[0]
			return runRecord(cmd.Context(), o, cmd.ErrOrStderr())
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.out, "out", "", "`FILE`.pcapng to write; nothing is ever overwritten")
	f.IntVar(&o.eachMB, "mb", 64, "size of a file in megabytes")
	f.IntVar(&o.keep, "keep", 16, "how many files are kept")
	f.DurationVar(&o.forTime, "for", 0, "record for this long (30m, 8h); default: until Ctrl-C")
	addLogFlag(cmd, &o.level, zerolog.InfoLevel)
	return cmd
}

func (o *recordOptions) check() error {
	switch {
	case o.out == "":
		return errors.New("--out is missing: it names the file to write, for instance --out truck.pcapng")
	case filepath.Ext(o.out) != ".pcapng":
		return fmt.Errorf("--out %s: a recording is a pcapng file: give it a name that ends in .pcapng", o.out)
	case o.eachMB < 1 || o.eachMB > 4096 || o.keep < 1 || o.keep > maxKept:
		return fmt.Errorf("--mb %d --keep %d: need 1 to 4096 MB and 1 to %d files", o.eachMB, o.keep, maxKept)
	case o.forTime < 0:
		return errors.New("--for: the time must be 0 or more")
	}
	return nil
}

func runRecord(ctx context.Context, o recordOptions, errOut io.Writer) error {
	if err := o.check(); err != nil {
		return withStatus(exitUsage, err)
	}
	r, err := newRotation(o.out, o.iface, int64(o.eachMB)<<20, o.keep)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	source, err := openToRecord(o.iface)
	if err != nil {
		return err
	}
	defer source.Close()
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
	defer stop()
	if o.forTime > 0 {
		ctx, stop = context.WithTimeout(ctx, o.forTime)
		defer stop()
	}
	log := newLog(errOut, o.level).With().Str("bus", o.iface).Logger()
	log.Info().Msg("recording; Ctrl-C ends it")
	return logged(&log, errOut, decodeStatus(r.record(ctx, source, &log)))
}

// record writes what a source hears until ctx ends or the only file is full, and says at the end what there is.
func (r *rotation) record(ctx context.Context, source can.Source, log *zerolog.Logger) error {
	files, lost := 0, uint64(0)
	err := trace.Listen(ctx, source, func(frames []can.Frame) error {
		err := r.Write(frames)
		if r.files != files {
			files = r.files
			log.Debug().Str("file", r.name(files)).Msg("a new file")
		}
		if now := source.Stats().Lost; now != lost {
			log.Warn().Uint64("lost", now).Msg("frames were lost before they were heard")
			lost = now
		}
		return err
	})
	if errors.Is(err, errFull) {
		log.Info().Msg("the file is full")
		err = nil
	}
	err = errors.Join(err, r.Close())
	s := source.Stats()
	end := log.Info()
	if s.Lost > 0 {
		end = log.Warn()
	}
	if r.files > 0 {
		end = end.Str("kept", r.kept())
	}
	end.Int("frames", r.Recorded()).Int("files", r.files).Uint64("lost", s.Lost).Uint64("error_frames", s.ErrorFrames).
		Msg("recording ended")
	return err
}

// openToRecord opens what can be recorded: an interface, or a bus between processes.
func openToRecord(iface string) (can.Source, error) {
	switch {
	case iface == simbench.Bus:
		return nil, errOnlyInside("record")
	case isRecording(iface):
		return nil, withStatus(exitUsage, fmt.Errorf("%s is a file: name a CAN interface to record", iface))
	}
	if err := missingFile(iface); err != nil {
		return nil, err
	}
	source, err := openListener(iface)
	if err != nil {
		return nil, withStatus(exitBus, err)
	}
	return source, nil
}

const maxKept = 9999

var errFull = errors.New("the recording is full")

// rotation writes frames into numbered files and takes the oldest away.
type rotation struct {
	*capture.Rotation
	base  string
	keep  int
	files int // begun so far
}

// newRotation refuses to write over what is there.
func newRotation(out, iface string, each int64, keep int) (*rotation, error) {
	base := strings.TrimSuffix(out, ".pcapng")
	there, err := filepath.Glob(globText(base) + "-[0-9][0-9][0-9][0-9]*.pcapng")
	if err != nil {
		return nil, fmt.Errorf("record to %s: %w", out, err)
	}
	if _, err := os.Lstat(out); err == nil {
		there = append(there, out)
	}
	if len(there) > 0 {
		return nil, fmt.Errorf("%s already exists: recordings are never overwritten; choose another name",
			there[0])
	}
	r := &rotation{base: base, keep: keep}
	r.Rotation = capture.Rotate(iface, each, capture.Inbound, r.next)
	return r, nil
}

// globText makes a path mean itself in a pattern.
func globText(path string) string {
	return strings.NewReplacer(`\`, `\\`, "*", `\*`, "?", `\?`, "[", `\[`).Replace(path)
}

func (r *rotation) name(n int) string {
	if r.keep == 1 {
		return r.base + ".pcapng"
	}
	return fmt.Sprintf("%s-%04d.pcapng", r.base, n)
}

// next names the next file, and takes the oldest away when there are as many as are kept.
func (r *rotation) next(time.Time) (string, error) {
	if r.keep == 1 && r.files == 1 {
		return "", errFull
	}
	if oldest := r.files - r.keep + 1; oldest >= 1 {
		if err := os.Remove(r.name(oldest)); err != nil && !errors.Is(err, os.ErrNotExist) {
			return "", fmt.Errorf("make room for the next file: %w", err)
		}
	}
	r.files++
	return r.name(r.files), nil
}

// kept names the files that are left: "truck-0001.pcapng", "truck-0002.pcapng to truck-0004.pcapng".
func (r *rotation) kept() string {
	first := max(1, r.files-r.keep+1)
	if first == r.files {
		return r.name(first)
	}
	return r.name(first) + " to " + r.name(r.files)
}
