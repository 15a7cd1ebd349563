package survey

import (
	"fmt"
	"strings"

	"holdfast/j1939/can"
	"holdfast/j1939/trace"
	"holdfast/j1939/transport"
)

// Text is a controller for a person, over several lines.
func (c *Controller) Text() string {
	var b strings.Builder
	b.WriteString(c.titleLine())
	if c.NAME != "" {
		fmt.Fprintf(&b, "    NAME: %s\n", c.NAME)
	}
	if c.Identity != nil {
		for _, line := range c.Identity.Lines() {
			fmt.Fprintf(&b, "    %s\n", line)
		}
	}
	b.WriteString(c.FaultLines())
	return b.String()
}

// FaultText is a controller's name and its trouble codes.
func (c *Controller) FaultText() string { return c.titleLine() + c.FaultLines() }

func (c *Controller) titleLine() string {
	words := c.Words
	if words == "" {
		words = "no NAME was heard"
	}
	return fmt.Sprintf("address %d (0x%02X): %s\n", c.Address, c.Address, words)
}

// FaultLines are a controller's trouble codes, a line each.
func (c *Controller) FaultLines() string {
	var b strings.Builder
	for _, list := range c.Faults {
		if len(list.Codes) == 0 {
			fmt.Fprintf(&b, "    %s: no fault; %s\n", list.Kind, list.Lamps)
			continue
		}
		fmt.Fprintf(&b, "    %s: %s\n", list.Kind, list.Lamps)
		for _, d := range list.Codes {
			times := ""
			if d.Count != nil {
				times = fmt.Sprintf(", %d times", *d.Count)
				if *d.Count == 1 {
					times = ", 1 time"
				}
			}
			if d.Assumed != 0 {
				times += fmt.Sprintf(" (old form, read as version %d: --conversion)", d.Assumed)
			}
			fmt.Fprintf(&b, "        SPN %d FMI %d%s: %s\n", d.SPN, d.FMI, times, d.Text)
		}
	}
	for _, f := range c.Freeze {
		fmt.Fprintf(&b, "    freeze frame: %s\n", f)
	}
	return b.String()
}

// AnswerText says a message as decode does, without the time.
func AnswerText(m *transport.Message) string {
	var decoder trace.Decoder
	var text trace.Text
	var line []byte
	for _, f := range transport.Frames(m) {
		decoder.Feed([]can.Frame{{Frame: f, Time: m.Done}}, func(heard *trace.Message) {
			if heard.PGN == m.PGN {
				line = text.Append(nil, heard)
			}
		})
	}
	if line == nil {
		return fmt.Sprintf("%3d  %6d  [%s, %d bytes] %X", m.Source, m.PGN, m.Kind, len(m.Data), m.Data)
	}
	_, rest, _ := strings.Cut(strings.TrimSpace(string(line)), " ") // the time
	return strings.TrimSpace(rest)
}
