package main

import (
	"context"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"holdfast/j1939/id"
	"holdfast/j1939/node"
	"holdfast/j1939/survey"
	"holdfast/j1939/transport"
)

type requestOptions struct {
	bus, pgn, to string
	json         bool
}

func newRequestCommand() *cobra.Command {
	var o requestOptions
	cmd := &cobra.Command{
		Use:   "request BUS PGN",
		Short: "Ask for a parameter group and show the answers",
		Long: `Sends a request (PGN 59904) for a group to everybody or to one address, and shows what comes: data,
in one frame or several, or an acknowledgment (not supported, access denied, cannot respond now). One that is
silent or busy is asked three times in all, 1.25 s each; everybody is asked once. What a group says is decoded as
far as the catalogue knows it, otherwise its bytes are shown.

It first listens for a second and refuses a bus on which a vehicle is alive. Requests that change something
(DM3 65228, DM11 65235: they clear trouble codes) are refused here: use faults --clear.

Status 1 when nothing came but a negative acknowledgment or silence.` + exitHelp,
		Example: `  holdfast request can0 65259
  holdfast request can0 0xFEEB --to 61
  holdfast request sim 65110 --to 61`,
		Args: wants("BUS", "PGN"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.bus, o.pgn = args[0], args[1]
			return runRequest(cmd.Context(), o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	cmd.Flags().StringVar(&o.to, "to", "", "`ADDRESS` to ask (0 to 253, or 0x3D); everybody when left out")
	cmd.Flags().BoolVar(&o.json, "json", false, "print one JSON object a line")
	return cmd
}

// check reads the numbers.
func (o *requestOptions) check() (pgn uint32, to uint8, err error) {
	n, err := strconv.ParseUint(o.pgn, 0, 32)
	switch {
	case err != nil || n > uint64(id.MaxPGN):
		return 0, 0, fmt.Errorf("%q is not a PGN; write 0 to %d, decimal or hexadecimal (65259, 0xFEEB)", o.pgn, id.MaxPGN)
	case id.IsPDU1(uint32(n)) && n&0xFF != 0:
		return 0, 0, fmt.Errorf("PGN %d is sent to one address; its low byte must be 0: %d", n, n&^0xFF)
	case n == dm3 || n == dm11:
		return 0, 0, fmt.Errorf("requesting PGN %d clears trouble codes; use holdfast faults %s --clear",
			n, o.bus)
	}
	to = id.Global
	if o.to != "" {
		if to, err = parseAddress(o.to); err != nil {
			return 0, 0, err
		}
	}
	return uint32(n), to, nil
}

func parseAddress(text string) (uint8, error) {
	a, err := strconv.ParseUint(text, 0, 8)
	if err != nil || a >= uint64(id.Null) {
		return 0, fmt.Errorf("%q is not a controller's address; write 0 to 253, decimal or hexadecimal (61, 0x3D)", text)
	}
	return uint8(a), nil
}

// parseAddresses reads the addresses of a repeatable flag.
func parseAddresses(texts []string) (all []uint8, err error) {
	for _, text := range texts {
		a, err := parseAddress(text)
		if err != nil {
			return nil, err
		}
		all = append(all, a)
	}
	return all, nil
}

func runRequest(ctx context.Context, o requestOptions, out, errOut io.Writer) error {
	pgn, to, err := o.check()
	if err != nil {
		return withStatus(exitUsage, err)
	}
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt)
	defer stop()
	port, err := openNodeBus(o.bus)
	if err != nil {
		return err
	}
	defer port.Close()
	p, err := join(ctx, port, nil, errOut)
	if err != nil {
		return err
	}
	q, err := p.Ask(ctx, pgn, to)
	if err != nil {
		return surveyStatus(err)
	}
	for i := range q.Answers {
		if err := printAnswer(out, &q.Answers[i], o.json); err != nil {
			return withStatus(exitInternal, err)
		}
	}
	if q.End() == node.Answered || q.End() == node.Told && q.Control == node.ACK {
		if q.End() == node.Told {
			fmt.Fprintln(out, q.String())
		}
		return nil
	}
	who := "nobody answered the request to everybody"
	if to != id.Global {
		who = fmt.Sprintf("address %d: %s", to, q)
	}
	return withStatus(exitFail, errors.New(who))
}

// printAnswer prints one message: as decode does, from its source on, or as JSON.
func printAnswer(out io.Writer, m *transport.Message, asJSON bool) error {
	said := survey.AnswerText(m)
	if !asJSON {
		_, err := fmt.Fprintln(out, said)
		return err
	}
	text, err := json.Marshal(map[string]any{"pgn": m.PGN, "source": m.Source, "destination": m.Destination,
		"transport": m.Kind.String(), "data": strings.ToUpper(hex.EncodeToString(m.Data)), "text": said})
	if err == nil {
		_, err = fmt.Fprintf(out, "%s\n", text)
	}
	return err
}
