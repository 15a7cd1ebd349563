package trace

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"

	"holdfast/j1939/diag"
	"holdfast/j1939/spn"
	"holdfast/j1939/transport"
)

// WriteText shows the report to a person: source by source each message with its number and mean period, and
// below it each parameter that ever had a value or a fault. A parameter that was never available is not shown. It
// writes group by group, so that a large report is never in memory at once.
func (r *Report) WriteText(out io.Writer) error {
	w := bufio.NewWriter(out)
	var b strings.Builder
	next := func() {
		w.WriteString(b.String())
		b.Reset()
	}
	for i := range r.Groups {
		g := &r.Groups[i]
		if i == 0 || g.Source != r.Groups[i-1].Source || g.Channel != r.Groups[i-1].Channel {
			r.sourceHeading(&b, g)
		}
		g.text(&b)
		next()
	}
	if len(r.Faults) > 0 {
		w.WriteString("\nFault codes\n")
	}
	for _, f := range r.Faults {
		fmt.Fprintf(w, "  source %-3d %-4s %s%s, in %s: %s\n", f.Source, spn.PGN(f.PGN).Acronym, f.DTC,
			occurrences(f.HighestCount), messages(f.Messages), f.DTC.Explain())
	}
	if r.Others > 0 {
		fmt.Fprintf(w, "\n%d messages or codes more, too many different ones to tell apart\n", r.Others)
	}
	return w.Flush()
}

func (r *Report) sourceHeading(b *strings.Builder, g *GroupReport) {
	where := ""
	if last := r.Groups[len(r.Groups)-1]; last.Channel > 0 {
		where = fmt.Sprintf(" on channel %d", g.Channel)
	}
	fmt.Fprintf(b, "\nSource %d%s\n", g.Source, where)
}

// times says how often something came.
func times(n uint64) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

func messages(n uint64) string {
	if n == 1 {
		return "1 message"
	}
	return fmt.Sprintf("%d messages", n)
}

func occurrences(count uint8) string {
	if count == diag.CountNotAvailable {
		return ""
	}
	return fmt.Sprintf(" x%d", count)
}

func (g *GroupReport) text(b *strings.Builder) {
	acronym, name := "", "not in the catalogue, last "+fmt.Sprintf("%X", g.LastData)
	if g.Group != nil {
		acronym, name = g.Group.Acronym, g.Group.Name
	}
	if g.Transport != transport.SingleFrame {
		name += " [" + g.Transport.String() + "]"
	}
	every := ""
	if period := g.Period(); period > 0 {
		every = ", every " + seconds(period)
	}
	fmt.Fprintf(b, "  %6d %-9s %s: %d%s\n", g.PGN, acronym, name, g.Messages, every)
	for i := range g.Parameters {
		if p := &g.Parameters[i]; p.Valid+p.Errors+p.Reserved+p.Specific+p.OutOfRange > 0 {
			p.text(b)
		}
	}
	for _, line := range g.Texts {
		fmt.Fprintf(b, "         %s\n", line)
	}
	if g.Diagnostic != nil {
		fmt.Fprintf(b, "         last: %s\n", g.Diagnostic.AppendText(nil))
	}
	for i := range g.Own {
		g.Own[i].text(b)
	}
}

func seconds(s float64) string {
	if s < 1 {
		return strconv.FormatFloat(s*1000, 'f', 1, 64) + " ms"
	}
	return strconv.FormatFloat(s, 'f', 2, 64) + " s"
}

func (p *ParameterReport) text(b *strings.Builder) {
	fmt.Fprintf(b, "         %6d %s: ", p.Parameter.SPN, p.Parameter.Name)
	switch {
	case p.Valid == 0:
		b.WriteString("never valid")
	case p.Parameter.Kind == spn.State:
		b.WriteString(p.states())
	case p.Min == p.Max:
		b.WriteString(p.reading(p.Min))
	default:
		fmt.Fprintf(b, "%s to %s", p.number(p.Min), p.reading(p.Max))
	}
	if p.LastStatus == spn.Valid && p.Parameter.Kind == spn.Measured && p.Min < p.Max {
		fmt.Fprintf(b, ", last %s", p.reading(p.Last))
	} else if p.LastStatus != spn.Valid {
		fmt.Fprintf(b, ", last %s", p.LastStatus)
	}
	for _, other := range []struct {
		n      uint64
		status spn.Status
	}{{p.Errors, spn.ErrorState}, {p.NotAvailable, spn.NotAvailable}, {p.Reserved, spn.Reserved},
		{p.Specific, spn.Specific}, {p.OutOfRange, spn.OutOfRange}} {
		if other.n > 0 {
			fmt.Fprintf(b, "; %s %s", other.status, times(other.n))
		}
	}
	b.WriteByte('\n')
}

// states names the states that came, with their share of the valid messages.
func (p *ParameterReport) states() string {
	var parts []string
	for _, s := range p.States {
		part := p.reading(s.Raw)
		if len(p.States) > 1 {
			part += fmt.Sprintf(" %.1f %%", 100*float64(s.Messages)/float64(p.Valid))
		}
		parts = append(parts, part)
	}
	return strings.Join(parts, ", ")
}

func (p *ParameterReport) number(raw uint64) string {
	return string(p.Parameter.AppendNumber(nil, raw))
}

func (p *ParameterReport) reading(raw uint64) string {
	return string(appendWords(nil, p.Parameter, raw))
}

// text shows a signal of the person's own on one line.
func (r *OwnReport) text(b *strings.Builder) {
	fmt.Fprintf(b, "         %s: ", r.Last.Signal.Name)
	switch {
	case r.Valid == 0:
		b.WriteString("never valid")
	case r.Min.Raw == r.Max.Raw:
		b.Write(r.Min.AppendWords(nil))
	default:
		fmt.Fprintf(b, "%s to %s, last %s", r.Min.AppendNumber(nil), r.Max.AppendWords(nil),
			r.Last.AppendWords(nil))
	}
	for _, other := range []struct {
		n    uint64
		what string
	}{{r.OutOfRange, outOfRange}, {r.NotAvailable, spn.NotAvailable.String()}} {
		if other.n > 0 {
			fmt.Fprintf(b, "; %s %s", other.what, times(other.n))
		}
	}
	b.WriteByte('\n')
}
