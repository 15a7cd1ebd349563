package report

import (
	"fmt"
	"io"
	"regexp"

	"holdfast/bench/disk"
)

// runMark stands in every certificate, HTML and PDF, before the id of its run.
const runMark = "holdfast-run:"

var markedRun = regexp.MustCompile(runMark + `([A-Za-z0-9][A-Za-z0-9._-]{0,99})`)

// CertifiedRun returns the run that a certificate file says it belongs to. It believes nothing else of the
// file.
func CertifiedRun(path string) (string, error) {
	f, err := disk.Open(path)
	if err != nil {
		return "", fmt.Errorf("read the certificate: %w", err)
	}
	defer f.Close()
	const most = 32 << 20
	text, err := io.ReadAll(io.LimitReader(f, most))
	if err != nil {
		return "", fmt.Errorf("read the certificate: %w", err)
	}
	found := markedRun.FindSubmatch(text)
	if found == nil {
		return "", fmt.Errorf("%s names no run: it is no certificate of this program, or was changed", path)
	}
	return string(found[1]), nil
}
