package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"time"

	"github.com/spf13/cobra"

	"holdfast/j1939/can"
	"holdfast/j1939/can/capture"
	"holdfast/j1939/can/socketcan"
	"holdfast/j1939/trace"
	"holdfast/j1939/transport"
)

type decodeOptions struct {
	from string // file or interface
	json bool
}

func newDecodeCommand() *cobra.Command {
	var o decodeOptions
	cmd := &cobra.Command{
		Use:   "decode FILE|INTERFACE",
		Short: "Show what was said on a J1939 bus, one line a message",
		Long: `Shows every J1939 message of a recording (candump -L text, pcap or pcapng) or of an interface:
each 29-bit data frame, and each longer message once its last packet is there. It only
listens: nothing is ever sent. Frames of 11 bits and others are counted at the end.

A line has the time since the first message in seconds, the source and destination address, the
PGN and what the message says. Parameters that are not available are left out; error indicators are said.

An argument that is an existing file is read as a recording. Ctrl-C is the usual end of listening
to an interface (status 0).

--json prints one object a line: time (s), pgn, priority, source, destination (255: all), name,
spns by number ({"value","unit"} or {"status"}), data; transport for longer messages; lamps, flash
and faults for DM1 and messages of its layout.` + exitHelp,
		Example: `  holdfast decode key-on.log
  holdfast decode can0 --json`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.from = args[0]
			return runDecode(cmd.Context(), o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object a line")
	return cmd
}

func runDecode(ctx context.Context, o decodeOptions, out, errOut io.Writer) error {
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
	var decoder trace.Decoder
	err = showMessages(ctx, source, &decoder, newLiner(o.json), out)
	fmt.Fprintln(errOut, heard(decoder.Counts(), source.Stats()))
	return err
}

// openSource opens an existing file as a recording, anything else as an interface.
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
	source, err = socketcan.Listen(from, socketcan.Options{})
	if errors.Is(err, can.ErrMissing) {
		return nil, false, withStatus(exitUsage, fmt.Errorf("%s is neither a file nor a CAN interface: %w", from, err))
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

func newLiner(json bool) liner {
	if json {
		return new(trace.JSON)
	}
	return new(trace.Text)
}

const (
	framesAtOnce = 1024
	flushAbove   = 256 << 10
	listenFor    = 100 * time.Millisecond // how long a silent bus delays Ctrl-C
)

// showMessages decodes until the recording ends or ctx does. What was heard together is
// written together: a live bus shows at once, a recording in large pieces.
func showMessages(ctx context.Context, source can.Source, d *trace.Decoder, l liner, out io.Writer) error {
	frames := make([]can.Frame, framesAtOnce)
	lines := make([]byte, 0, 2*flushAbove)
	show := func(m *trace.Message) { lines = l.Append(lines, m) }
	for ctx.Err() == nil {
		n, err := source.Receive(frames, source.Now().Add(listenFor))
		d.Feed(frames[:n], show)
		if len(lines) > 0 && (n < len(frames) || len(lines) > flushAbove || err != nil) {
			if _, err := out.Write(lines); err != nil {
				return withStatus(exitInternal, fmt.Errorf("write the lines: %w", err))
			}
			lines = lines[:0]
		}
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case errors.Is(err, can.ErrDown), errors.Is(err, can.ErrMissing), errors.Is(err, can.ErrBusOff):
			return withStatus(exitBus, err)
		case err != nil:
			return withStatus(exitUsage, err)
		}
	}
	return nil
}

// heard sums up in one line.
func heard(c trace.Counts, s can.Stats) string {
	text := fmt.Sprintf("%d frames: %d J1939 messages, %d more reassembled from several frames",
		c.Frames, c.Messages, c.Reassembled)
	for _, more := range []struct {
		n    uint64
		what string
	}{
		{c.Standard, "11-bit frames"}, {c.Remote, "remote frames"}, {c.Errors, "error frames"},
		{s.Skipped, "records that are not classic CAN"}, {s.Lost, "frames LOST before they were heard"},
		{c.Transport.Lost(), "longer messages lost"},
		{c.Transport[transport.Orphan], "packets without a session"},
		{c.Transport[transport.Malformed], "malformed transport frames"},
	} {
		if more.n > 0 {
			text += fmt.Sprintf(", %d %s", more.n, more.what)
		}
	}
	return text
}
