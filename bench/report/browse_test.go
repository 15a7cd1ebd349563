package report_test

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/bench/report"
)

// The page lists what it is given; text stays text and a link never becomes a script.
func TestBrowse(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, report.Browse(&b, "Records", []report.Listed{{Run: "r1", Serial: `<script>"x`,
		Verdict: "not judged", Started: begun,
		Links: []report.Link{{Text: "report", Href: "r1/report.html"}, {Text: "bad",
			Href: "javascript:alert(1)"}}}}))
	require.Contains(t, b.String(), `<a href="r1/report.html">report</a>`)
	require.NotContains(t, b.String(), "<script")
	require.NotContains(t, b.String(), "javascript:")
	require.Contains(t, b.String(), `class="not-judged"`)
}
