package trace

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"holdfast/j1939/spn"
)

// Text and JSON are the whole report at once, for tests.

func (r *Report) Text() string {
	var b strings.Builder
	_ = r.WriteText(&b) // a builder takes everything
	return b.String()
}

func (r *Report) JSON() ([]byte, error) {
	var b bytes.Buffer
	err := r.WriteJSON(&b)
	return b.Bytes(), err
}

func TestReport_HowOftenInWords(t *testing.T) {
	p := ParameterReport{Parameter: spn.Find(190)[0], Errors: 1, NotAvailable: 4, LastStatus: spn.Valid}
	var b strings.Builder
	p.text(&b)
	require.Contains(t, b.String(), "never valid; error indicator once; not available 4 times\n")
	require.Equal(t, "1 message", messages(1))
	require.Equal(t, "12 messages", messages(12))
}
