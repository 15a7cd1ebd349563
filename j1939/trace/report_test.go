package trace

import (
	"bytes"
	"strings"
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
