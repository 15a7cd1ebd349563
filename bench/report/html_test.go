package report_test

import (
	"bytes"
	"encoding/xml"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/judge"
	"holdfast/bench/measure"
	"holdfast/bench/report"
	"holdfast/bench/samples"
)

func htmlOf(t *testing.T, res *judge.Result) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, report.HTML(&b, res))
	return b.String()
}

var plots = regexp.MustCompile(`(?s)<figure><svg.*?</svg>`)

// The words of the page; the drawings are looked at by people (HOLDFAST_LOOK=folder writes the pages
// there).
func TestHTML_Golden(t *testing.T) {
	for name, res := range map[string]*judge.Result{"fail.html": madeUp(), "pass.html": passed(),
		"trip.html": tripped()} {
		page := htmlOf(t, res)
		require.Less(t, len(page), 500<<10, name)
		if look := os.Getenv("HOLDFAST_LOOK"); look != "" {
			require.NoError(t, os.WriteFile(filepath.Join(look, name), []byte(page), 0o644))
		}
		golden(t, name, []byte(plots.ReplaceAllString(page, "<figure>[drawing]")))
	}
}

// Whatever text comes in, the page has the same elements and the same attributes: nothing executes.
func TestHTML_HostileTextStaysText(t *testing.T) {
	const attack = `"'></style></svg></title><script>alert(1)</script><img src=x onerror=alert(2)>{{.}}*/` +
		"\x00\u202e"
	tame, wild := madeUp(), madeUp()
	for i, res := range []*judge.Result{tame, wild} {
		text := "harmless"
		if i == 1 {
			text = attack
		}
		res.Run, res.Serial, res.Identity.Scenario, res.Identity.Rig, res.Bus, res.Version = text, text, text, text, text, text
		res.LimitsFrom, res.Warnings = text, []string{text}
		res.Faults = map[string]float64{text: 1}
		res.Plan.Title, res.Bench.Title = text, text
		res.Recording.Trip = &samples.Trip{Name: text, Reading: text, Limit: text, Next: text}
		for k := range res.Recording.Steps {
			res.Recording.Steps[k].Name, res.Recording.Steps[k].Note = text, text
		}
		for k := range res.Recording.Events {
			res.Recording.Events[k].Text = text
		}
		for k := range res.Causes {
			c := &res.Causes[k]
			c.Name, c.Title, c.Evidence, c.OpenFirst = text, text, text, text
		}
		for k := range res.Lines {
			l := &res.Lines[k]
			l.Why, l.Unit, l.At = text, text, text
			for b := range l.Budget {
				l.Budget[b].Source = text
			}
		}
	}
	require.Equal(t, skeleton(t, htmlOf(t, tame)), skeleton(t, htmlOf(t, wild)))
}

// skeleton lists the page's elements with the names of their attributes.
func skeleton(t *testing.T, page string) []string {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(strings.ReplaceAll(page, "\x00", "")))
	d.Strict, d.AutoClose, d.Entity = false, xml.HTMLAutoClose, xml.HTMLEntity
	var all []string
	for {
		token, err := d.Token()
		if err == io.EOF {
			return all
		}
		require.NoError(t, err)
		if e, ok := token.(xml.StartElement); ok {
			name := e.Name.Local
			for _, a := range e.Attr {
				name += " " + a.Name.Local
			}
			all = append(all, name)
		}
	}
}

func TestHTML_NeedsNoOtherFile(t *testing.T) {
	page := htmlOf(t, madeUp())
	for _, reach := range []string{"<script", "<link", "<img", "src=", "url(", "@import"} {
		require.False(t, strings.Contains(page, reach), reach)
	}
	links := regexp.MustCompile(`https?://[^"]*`).FindAllString(page, -1)
	for _, l := range links {
		require.Equal(t, "http://www.w3.org/2000/svg", l, "only a namespace is named")
	}
}

func TestHTML_RunsWithLittleInThem(t *testing.T) {
	for name, res := range map[string]*judge.Result{
		"nothing":          {},
		"no recording":     {Lines: madeUpLines()},
		"an empty record":  {Recording: &samples.Recording{}},
		"one reading":      {Recording: oneReading()},
		"infinite numbers": {Lines: infinite(), Recording: madeUpRecording()},
	} {
		page := htmlOf(t, res)
		require.True(t, strings.Contains(strings.ToLower(page), "safe to open"), name)
		require.False(t, strings.Contains(page, "NaN"), name)
		require.True(t, strings.Contains(page, "not judged"), name)
		require.NotEmpty(t, table(t, res, 80, false), name)
		require.NoError(t, report.JUnit(io.Discard, res), name)
	}
}

func oneReading() *samples.Recording {
	rec := &samples.Recording{Start: at(0), End: at(10)}
	rec.Channels[0] = samples.Series{T: rec.Channels[0].T, V: nil}
	rec.Channels[0].T, rec.Channels[0].V = append(rec.Channels[0].T, at(5)), []float64{9}
	return rec
}

func infinite() []judge.Line {
	lines := madeUpLines()
	for i := range lines {
		lines[i].State = measure.Measured
		lines[i].Value, lines[i].U = math.Inf(1), math.NaN()
	}
	return lines
}
