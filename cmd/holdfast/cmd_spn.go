package main

import (
	"encoding/json"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"holdfast/j1939/spn"
)

func newSpnCommand() *cobra.Command {
	var asJSON bool
	cmd := &cobra.Command{
		Use:   "spn NUMBER|WORD...",
		Short: "Look up a J1939 parameter by number, by words of its name or by its message",
		Long: `Shows what the catalogue knows of a suspect parameter number: its name and older names, the messages
it stands in, its place, scale, range and states, what its failure modes usually mean, and
where all that comes from with its confidence.

A number is an SPN. Words are looked for in names, older names and acronyms of messages, whatever their
case; all of them must be there. Several hits are listed one a line.

The catalogue holds what a DEF bench needs, from open sources. The unit maker's data and the standard
itself take precedence.` + exitHelp,
		Example: `  holdfast spn 4334
  holdfast spn pump drive
  holdfast spn A1SCRDSI1 --json`,
		Args: wantsSome("NUMBER|WORD"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runSpn(strings.Join(args, " "), asJSON, cmd.OutOrStdout())
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print an array of objects")
	return cmd
}

func runSpn(text string, asJSON bool, out io.Writer) error {
	found, err := lookUp(text)
	if err != nil {
		return withStatus(exitUsage, err)
	}
	switch {
	case asJSON:
		err = printSpnJSON(out, found)
	case sameNumber(found):
		_, err = io.WriteString(out, describe(found))
	default:
		_, err = io.WriteString(out, listSpns(found))
	}
	if err != nil {
		return withStatus(exitInternal, fmt.Errorf("write: %w", err))
	}
	return nil
}

// lookUp reads a number as an SPN and anything else as words.
func lookUp(text string) ([]*spn.Parameter, error) {
	if number, err := strconv.ParseUint(strings.TrimSpace(text), 10, 64); err == nil {
		if number >= 1<<19 {
			return nil, fmt.Errorf("SPN %d: numbers go up to 524287", number)
		}
		if found := spn.Find(uint32(number)); found != nil {
			return found, nil
		}
		return nil, fmt.Errorf("SPN %d is not in the catalogue, which holds what a DEF bench needs: "+
			"look in the unit maker's data", number)
	}
	if found := spn.Search(text); found != nil {
		return found, nil
	}
	return nil, fmt.Errorf("no parameter has %q in its name, its older names or its message: "+
		"use fewer words", text)
}

func sameNumber(found []*spn.Parameter) bool {
	return found[0].SPN == found[len(found)-1].SPN
}

func listSpns(found []*spn.Parameter) string {
	var b strings.Builder
	for _, p := range found {
		where := "codes only"
		if p.Message != nil {
			where = fmt.Sprintf("%d %s", p.PGN, p.Message.Acronym)
		}
		fmt.Fprintf(&b, "%6d  %-16s  %s", p.SPN, where, p.Name)
		if len(p.Older) > 0 {
			fmt.Fprintf(&b, " (older: %s)", strings.Join(p.Older, "; "))
		}
		b.WriteByte('\n')
	}
	return b.String()
}

// spnJSON is one parameter in one message as `spn --json` prints it.
type spnJSON struct {
	SPN        uint32         `json:"spn"`
	Name       string         `json:"name"`
	OlderNames []string       `json:"older_names,omitempty"`
	Kind       string         `json:"kind"`
	PGN        *uint32        `json:"pgn"`
	Message    string         `json:"message,omitempty"`
	Acronym    string         `json:"acronym,omitempty"`
	StartByte  uint8          `json:"start_byte,omitempty"`
	StartBit   uint8          `json:"start_bit,omitempty"`
	Bits       uint8          `json:"bits,omitempty"`
	Resolution json.Number    `json:"resolution,omitempty"`
	Offset     json.Number    `json:"offset,omitempty"`
	Minimum    json.Number    `json:"minimum,omitempty"`
	Maximum    json.Number    `json:"maximum,omitempty"`
	Unit       string         `json:"unit"`
	States     []stateJSON    `json:"states,omitempty"`
	StatesNote string         `json:"states_note,omitempty"`
	Failures   []readingsJSON `json:"usual_failures,omitempty"`
	Sources    string         `json:"sources"`
	Confidence string         `json:"confidence"`
}

type stateJSON struct {
	From   uint64 `json:"from"`
	To     uint64 `json:"to"`
	Text   string `json:"text"`
	Status string `json:"status"`
}

type readingsJSON struct {
	FMI        uint8  `json:"fmi"`
	Failure    string `json:"failure"`
	Usually    string `json:"usually"`
	Sources    string `json:"sources"`
	Confidence string `json:"confidence"`
}

func printSpnJSON(out io.Writer, found []*spn.Parameter) error {
	all := make([]spnJSON, 0, len(found))
	for _, p := range found {
		all = append(all, asSpnJSON(p))
	}
	return printJSON(out, all)
}

func asSpnJSON(p *spn.Parameter) spnJSON {
	o := spnJSON{SPN: p.SPN, Name: p.Name, OlderNames: p.Older, Kind: p.Kind.String(), StartByte: p.Byte,
		StartBit: p.Bit, Bits: p.Bits, Unit: p.Unit, StatesNote: p.StatesNote,
		Sources: p.Sources, Confidence: p.Confidence}
	if p.Message != nil {
		o.PGN, o.Message, o.Acronym = &p.PGN, p.Message.Name, p.Message.Acronym
	}
	if p.Kind == spn.Measured {
		low, high := p.Range()
		o.Minimum, o.Maximum = exactValue(p.Scale, low), exactValue(p.Scale, high)
		o.Resolution = exactValue(spn.Scale{Mul: p.Scale.Mul, Decimals: p.Scale.Decimals}, 1)
		o.Offset = exactValue(p.Scale, 0)
	}
	for _, s := range p.States {
		o.States = append(o.States, stateJSON{s.From, s.To, s.Text, s.Status.String()})
	}
	for _, r := range spn.UsualReadings(p.SPN) {
		o.Failures = append(o.Failures, readingsJSON{r.FMI, spn.FMIText(r.FMI), r.Text, r.Sources, r.Confidence})
	}
	return o
}

func exactValue(s spn.Scale, raw uint64) json.Number { return json.Number(s.AppendExact(nil, raw)) }
