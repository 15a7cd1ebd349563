package report

import (
	"os"
	"path/filepath"
	"testing"
)

// Whatever a file says that is called a certificate: a run that can be a folder's name, or an error.
func FuzzCertifiedRun(f *testing.F) {
	f.Add([]byte(runMark + "20260304T120000Z-HF-1"))
	f.Add([]byte(runMark + "../../etc"))
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, text []byte) {
		path := filepath.Join(dir, "certificate.html")
		if err := os.WriteFile(path, text, 0o644); err != nil {
			t.Fatal(err)
		}
		if run, err := CertifiedRun(path); err == nil && run != filepath.Base(run) {
			t.Errorf("the run %q would lead out of the folder of the records", run)
		}
	})
}
