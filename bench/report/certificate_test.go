package report_test

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/makiuchi-d/gozxing"
	qrread "github.com/makiuchi-d/gozxing/qrcode"
	"github.com/stretchr/testify/require"

	"holdfast/bench/judge"
	"holdfast/bench/report"
	"holdfast/bench/samples"
)

func madeUpCertificate() *report.Certificate {
	return &report.Certificate{Number: "C0007-3fa9c1", Issued: begun.AddDate(0, 0, 1), By: "K. Example",
		Shop:    "Bench & Son",
		Address: "1 Dock Yard", Visit: "V0007", Received: begun.AddDate(0, 0,
			-2), UnitKind: "24 V", Owner: "job 17",
		Complaint: "no pressure", AsFound: []string{"SPN 4334 FMI 18, active"}, Parts: []string{"membrane"},
		FramesHash: strings.Repeat("ab", 32), JournalHash: strings.Repeat("cd",
			32), SealHash: strings.Repeat("ef", 32),
		Key: "0123456789abcdef"}
}

// cases are the ways a run can end that a page must be able to show.
func cases() map[string]*judge.Result {
	undecided, interrupted := madeUp(), stoppedEarly()
	undecided.Verdict = judge.Undecided
	undecided.Lines = append(undecided.Lines[:9:9], undecided.Lines[10:12]...)
	interrupted.Verdict, interrupted.Recording.Ended = judge.Interrupted, samples.Interrupted
	return map[string]*judge.Result{"pass": passed(), "fail": madeUp(), "undecided": undecided,
		"trip":        tripped(),
		"interrupted": interrupted}
}

func pdfOf(t *testing.T, res *judge.Result, c *report.Certificate, p report.Paper) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, report.PDF(&b, res, c, p))
	return b.Bytes()
}

// The outside view, by poppler: page count, paper, the number and the page's own number on every page, the
// end, and the words of the HTML page. HOLDFAST_LOOK=folder writes the files there for people.
func TestPDF_ReadByAnother(t *testing.T) {
	if _, err := exec.LookPath("pdftotext"); err != nil {
		t.Skip("pdftotext (poppler-utils) is not installed: no PDF is read by another program")
	}
	dir := t.TempDir()
	if look := os.Getenv("HOLDFAST_LOOK"); look != "" {
		dir = look
	}
	for name, res := range cases() {
		for paper, size := range map[report.Paper]string{report.A4: "595.28 x 841.89",
			report.Letter: "612 x 792"} {
			path := filepath.Join(dir, name+"-"+string(paper)+".pdf")
			require.NoError(t, os.WriteFile(path, pdfOf(t, res, madeUpCertificate(), paper), 0o644))
			info, err := exec.Command("pdfinfo", path).CombinedOutput()
			require.NoError(t, err, string(info))
			require.Contains(t, string(info), size)
			pages := regexp.MustCompile(`Pages:\s+(\d+)`).FindSubmatch(info)
			n, err := strconv.Atoi(string(pages[1]))
			require.NoError(t, err)
			text, err := exec.Command("pdftotext", "-layout", path, "-").CombinedOutput()
			require.NoError(t, err, string(text))
			sheets := strings.Split(strings.TrimSuffix(string(text), "\f"), "\f")
			require.Len(t, sheets, n)
			for i, sheet := range sheets {
				require.Contains(t, sheet, fmt.Sprintf("C0007-3fa9c1/%d page %d of %d", i+1, i+1, n))
			}
			require.Contains(t, sheets[n-1], "End of certificate C0007-3fa9c1")
			flat := strings.Join(strings.Fields(string(text)), " ")
			for _, words := range []string{strings.ToUpper(res.Verdict.String()), "K. Example", "Bench & Son",
				"Decision rule",
				"V0007", "no pressure", "maker's data, local codes and licensed practice", strings.Repeat("ef", 32)} {
				require.Contains(t, flat, words, name)
			}
			for _, l := range res.Lines {
				require.Contains(t, flat, strings.ReplaceAll(l.Name, "_", " "), name)
			}
		}
	}
}

// The same result gives the same bytes, with and without a certificate.
func TestPDF_SameBytes(t *testing.T) {
	require.Equal(t, pdfOf(t, madeUp(), madeUpCertificate(), report.A4), pdfOf(t, madeUp(),
		madeUpCertificate(), report.A4))
	require.Equal(t, pdfOf(t, madeUp(), nil, report.Letter), pdfOf(t, madeUp(), nil, report.Letter))
}

// Whatever text comes in, a PDF is made and holds no action.
func TestPDF_HostileText(t *testing.T) {
	res := madeUp()
	attack := ")>>/OpenAction<</S/JavaScript/JS(alert(1))>>(\x00\x1b[2J\u202e" + strings.Repeat("W", 3000)
	res.Serial, res.Identity.Rig, res.Plan.Title, res.Warnings = attack, attack, attack, []string{attack}
	res.Causes[0].Title, res.Lines[0].Why, res.Lines[0].Unit = attack, attack, attack
	c := madeUpCertificate()
	c.Owner, c.Complaint = attack, attack
	b := pdfOf(t, res, c, report.A4)
	require.True(t, bytes.HasPrefix(b, []byte("%PDF-")))
	require.NotContains(t, string(b), "/OpenAction<")
	if _, err := exec.LookPath("pdfinfo"); err == nil {
		path := filepath.Join(t.TempDir(), "hostile.pdf")
		require.NoError(t, os.WriteFile(path, b, 0o644))
		info, err := exec.Command("pdfinfo", path).CombinedOutput()
		require.NoError(t, err, string(info))
		require.Regexp(t, `JavaScript:\s+no`, string(info))
	}
}

// Another maker's reader reads the code off the HTML certificate and finds number, run, hash and key.
func TestCertificate_CodeIsReadByAnother(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, report.HTMLCertificate(&b, passed(), madeUpCertificate(), report.A4))
	drawn := regexp.MustCompile(`<svg class="code" viewBox="0 0 (\d+) \d+"[^>]*><path d="([^"]*)"`).FindStringSubmatch(b.String())
	require.NotNil(t, drawn)
	size, err := strconv.Atoi(drawn[1])
	require.NoError(t, err)
	const scale = 4
	img := image.NewGray(image.Rect(0, 0, size*scale, size*scale))
	for i := range img.Pix {
		img.Pix[i] = 0xff
	}
	for _, run := range regexp.MustCompile(`M(\d+) (\d+)h(\d+)v1h-\d+z`).FindAllStringSubmatch(drawn[2], -1) {
		var v [3]int
		for i := range v {
			v[i], err = strconv.Atoi(run[i+1])
			require.NoError(t, err)
		}
		for x := v[0] * scale; x < (v[0]+v[2])*scale; x++ {
			for y := v[1] * scale; y < (v[1]+1)*scale; y++ {
				img.SetGray(x, y, color.Gray{})
			}
		}
	}
	bitmap, err := gozxing.NewBinaryBitmapFromImage(img)
	require.NoError(t, err)
	read, err := qrread.NewQRCodeReader().Decode(bitmap, nil)
	require.NoError(t, err)
	require.Equal(t, "HOLDFAST C0007-3fa9c1 RUN "+passed().Run+" SHA256 "+strings.Repeat("ef",
		32)+" KEY 0123456789abcdef",
		read.GetText())
}

// The certificate's words on the HTML page; its drawings are looked at by people.
func TestHTMLCertificate_Golden(t *testing.T) {
	var b bytes.Buffer
	require.NoError(t, report.HTMLCertificate(&b, passed(), madeUpCertificate(), report.Letter))
	page := regexp.MustCompile(`(?s)<svg class="code".*?</svg>`).ReplaceAllString(b.String(), "[code]")
	golden(t, "certificate.html", []byte(plots.ReplaceAllString(page, "<figure>[drawing]")))
}

func TestCertifiedRun(t *testing.T) {
	dir := t.TempDir()
	var html bytes.Buffer
	require.NoError(t, report.HTMLCertificate(&html, passed(), madeUpCertificate(), report.A4))
	for name, text := range map[string][]byte{"c.html": html.Bytes(), "c.pdf": pdfOf(t, passed(),
		madeUpCertificate(), report.A4)} {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, text, 0o644))
		run, err := report.CertifiedRun(path)
		require.NoError(t, err)
		require.Equal(t, passed().Run, run)
	}
	other := filepath.Join(dir, "other.pdf")
	require.NoError(t, os.WriteFile(other, []byte("%PDF-1.4 holdfast-run:../../etc"), 0o644))
	_, err := report.CertifiedRun(other)
	require.ErrorContains(t, err, "names no run")
}
