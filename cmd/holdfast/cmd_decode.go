package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"

	"github.com/spf13/cobra"

	"holdfast/cmd/holdfast/memory"
	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/trace"
	"holdfast/j1939/transport"
)

type decodeOptions struct {
	from          string // file or interface
	json, summary bool
	oneBus        bool
	dbc           string   // file with signals of one's own
	conversions   []string // versions of old trouble codes
	tables        decodeTables
}

func newDecodeCommand() *cobra.Command {
	var o decodeOptions
	cmd := &cobra.Command{
		Use:   "decode FILE|INTERFACE",
		Short: "Show the messages of a J1939 bus, one line each",
		Long: `Shows every J1939 message of a recording (candump -L text, pcap or pcapng) or of an interface:
each 29-bit data frame, and each longer message once its last packet is there. It only
listens: nothing is ever sent. Frames of 11 bits and others are counted at the end.

A line has the time since the first message in seconds, the source and destination address, the
PGN and what the message says. Parameters that are not available are left out; error indicators are said.

--summary prints, instead of the lines, each message of each source with its number and period, each
parameter with its range, its last value and how often it was an error indicator or not available, and the
fault codes.

--dbc FILE adds the signals of a DBC file, by name, to the messages of their groups: multiplexed, signed and
big-endian ones too. A value outside the limits that the file states is no number: all ones are shown as
not available, others as out of range. Messages with 11-bit identifiers are not read.

--conversion says which SPN conversion version (1, 2 or 3) the trouble codes with a set conversion bit are
read with: nothing on the wire tells. 3 unless stated; "1" is for all sources, "0=1" for source 0.

An argument that is an existing file is read as a recording. Ctrl-C is the usual end of listening
to an interface (status 0).

--parquet FILE and --csv FILE write one row for each parameter of each message: time, addresses, PGN, SPN,
value, unit, status.

--json prints one object a line: time (s), pgn, priority, source, destination (255: all), name,
spns by number ({"value","unit"} or {"status"}), data; transport for longer messages; lamps, flash
and faults for DM1 and messages of its layout; diagnostics for the other diagnostic messages (freeze
frames, readiness, test results ...); signals for those of the DBC file. DM32, DM33 and DM34 are named and
not decoded: their layouts are not sure enough.` + exitHelp,
		Example: `  holdfast decode key-on.log
  holdfast decode key-on.log --summary
  holdfast decode can0 --json
  holdfast decode key-on.log --dbc my-signals.dbc --conversion 0=1`,
		Args: wants("FILE|INTERFACE"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.from = args[0]
			return runDecode(cmd.Context(), o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object a line; with --summary one in all")
	cmd.Flags().BoolVar(&o.summary, "summary", false, "print counts, ranges and last values instead of lines")
	cmd.Flags().StringVar(&o.dbc, "dbc", "", "show the signals of this DBC `FILE` too")
	cmd.Flags().StringArrayVar(&o.conversions, "conversion", nil,
		"read old trouble codes as `VERSION` 1, 2 or 3; ADDRESS=VERSION for one source; repeatable")
	o.tables.addFlags(cmd)
	cmd.Flags().BoolVar(&o.oneBus, "one-bus", false, "the interfaces of the recording hear one and the same bus")
	return cmd
}

func runDecode(ctx context.Context, o decodeOptions, out, errOut io.Writer) error {
	if err := o.tables.check(&o); err != nil {
		return withStatus(exitUsage, err)
	}
	defer memory.KeepSmall()()
	known, err := o.known(errOut)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	source, live, err := openSource(o.from)
	if err != nil {
		return err
	}
	defer source.Close()
	if live {
		var stop context.CancelFunc
		ctx, stop = signal.NotifyContext(ctx, os.Interrupt)
		defer stop()
	}
	stream, drops := trace.Replay, kernelDrops{}
	if live {
		stream, drops = trace.Listen, watchDrops(o.from)
	}
	decoder := trace.Decoder{OneBus: o.oneBus}
	if o.tables.wanted() {
		err = o.tables.write(ctx, source, stream, &decoder, errOut)
	} else if o.summary {
		err = summarise(ctx, o, known, source, stream, &decoder, out)
	} else {
		p := printer{decoder: &decoder, liner: newLiner(o.json, known), out: out, live: live}
		err = errors.Join(stream(ctx, source, p.handle), p.flush())
	}
	fmt.Fprintln(errOut, heard(decoder.Counts(), source.Stats())+drops.said())
	if err == nil && !live && decoder.Counts().Frames == 0 {
		err = noFrame(o.from)
	}
	return decodeStatus(err)
}

// noFrame is for a recording from which nothing came: an empty file must not pass for a quiet bus.
func noFrame(from string) error {
	return withStatus(exitUsage, fmt.Errorf("%s contains no CAN frames; expected candump -L text, pcap or pcapng", from))
}

// decodeStatus gives an error of the stream its exit status.
func decodeStatus(err error) error {
	var stated *exit
	switch {
	case err == nil, errors.As(err, &stated):
		return err
	case errors.Is(err, can.ErrDown), errors.Is(err, can.ErrMissing), errors.Is(err, can.ErrBusOff):
		return withStatus(exitBus, err)
	default:
		return withStatus(exitUsage, err) // a recording that cannot be read
	}
}

type streamFunc func(context.Context, can.Source, func([]can.Frame) error) error

// summarise prints the report also when the source fails on the way: what was heard is worth having.
func summarise(ctx context.Context, o decodeOptions, known trace.Known, source can.Source, stream streamFunc,
	d *trace.Decoder, out io.Writer) error {
	s := trace.Summary{Known: known}
	err := stream(ctx, source, func(frames []can.Frame) error {
		d.Feed(frames, s.Add)
		return nil
	})
	memory.GiveBackCodePages() // what reading needed: the report needs other parts of the program
	report := s.Report(d.Counts())
	if failed := writeReport(out, &report, o.json); failed != nil {
		return cannotWrite(failed)
	}
	return err
}

func writeReport(out io.Writer, report *trace.Report, asJSON bool) error {
	if !asJSON {
		return report.WriteText(out)
	}
	err := report.WriteJSON(out)
	if err == nil {
		_, err = io.WriteString(out, "\n")
	}
	return err
}

func cannotWrite(err error) error {
	return withStatus(exitInternal, fmt.Errorf("write what was decoded: %w", err))
}

// openSource opens an existing file as a recording, anything else as an interface. A missing file is bad
// input, a missing interface a bus fault.
func openSource(from string) (source can.Source, live bool, err error) {
	if info, statErr := os.Stat(from); statErr == nil {
		if info.IsDir() {
			return nil, false, withStatus(exitUsage, fmt.Errorf("%s is a folder: name a recording in it", from))
		}
		reader, err := capture.Open(from)
		if err != nil {
			return nil, false, withStatus(exitUsage, err)
		}
		return reader, false, nil
	}
	if err := missingFile(from); err != nil {
		return nil, false, err
	}
	source, err = openListener(from)
	if errors.Is(err, can.ErrMissing) {
		err = neitherFileNor(from, err)
	}
	if err != nil {
		return nil, false, withStatus(exitBus, err)
	}
	return source, true, nil
}

// liner writes a message as one line.
type liner interface {
	Append(dst []byte, m *trace.Message) []byte
}

func newLiner(json bool, known trace.Known) liner {
	if json {
		return &trace.JSON{Known: known}
	}
	return &trace.Text{Known: known}
}

// How much of a recording is written at once, and how many frames are decoded between two looks at that: a
// frame makes up to some 2 kB of JSON, and what is kept is counted against the memory that decode promises.
const (
	flushAbove  = 128 << 10
	framesALook = 256
)

// printer writes a line for every message. A live bus shows at once, a recording in large pieces.
type printer struct {
	decoder *trace.Decoder
	liner   liner
	out     io.Writer
	live    bool
	lines   []byte
	begun   bool // something was written: the first lines do not wait for more
}

func (p *printer) handle(frames []can.Frame) error {
	if p.lines == nil {
		p.lines = make([]byte, 0, flushAbove+flushAbove/2)
	}
	for len(frames) > 0 {
		n := min(framesALook, len(frames))
		p.decoder.Feed(frames[:n], p.show)
		frames = frames[n:]
		if p.live && len(frames) == 0 || len(p.lines) >= flushAbove || !p.begun {
			if err := p.flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

func (p *printer) show(m *trace.Message) { p.lines = p.liner.Append(p.lines, m) }

func (p *printer) flush() error {
	if len(p.lines) == 0 {
		return nil
	}
	p.begun = true
	_, err := p.out.Write(p.lines)
	p.lines = p.lines[:0]
	if err != nil {
		return cannotWrite(err)
	}
	return nil
}

// heard sums up in one line.
func heard(c trace.Counts, s can.Stats) string {
	text := fmt.Sprintf("%d frames: %d J1939 messages, %d more reassembled from several frames",
		c.Frames, c.Messages, c.Reassembled)
	for _, more := range []struct {
		n         uint64
		one, many string
	}{
		{c.Standard, "frame with an 11-bit identifier", "frames with 11-bit identifiers"},
		{c.Remote, "remote frame", "remote frames"}, {c.Errors, "error frame", "error frames"},
		{s.Skipped, "record that is not classic CAN", "records that are not classic CAN"},
		{s.Lost, "frame LOST before it was heard", "frames LOST before they were heard"},
		{c.Transport.Lost(), "longer message lost", "longer messages lost"},
		{c.Transport[transport.Orphan], "packet without a session", "packets without a session"},
		{c.Transport[transport.Malformed], "malformed transport frame", "malformed transport frames"},
	} {
		switch more.n {
		case 0:
		case 1:
			text += ", 1 " + more.one
		default:
			text += fmt.Sprintf(", %d %s", more.n, more.many)
		}
	}
	return text
}
