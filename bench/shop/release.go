package shop

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"holdfast/bench/record"
	"holdfast/bench/report"
)

// Failures of a release. The unit stays in the shop after each.
var (
	ErrNotReleased   = record.ErrNotReleased                               // the unit may not go
	ErrNoName        = errors.New("--by is empty: a release needs a name") // nobody stands for it
	ErrNoCertificate = errors.New("its certificate could not be written")
)

// Request asks for a unit to be let go.
type Request struct {
	record.Leaving
	Paper report.Paper
}

// Released is a unit that was let go.
type Released struct {
	Visit record.Visit `json:"visit"`
	Files []string     `json:"files"`          // of the certificate
	Said  []string     `json:"said,omitempty"` // what the person must hear
	Shop  record.Shop  `json:"-"`              // who gives it out, as the certificate says
}

// release is a unit on its way out: the visit that ends, and the run that it is released on.
type release struct {
	Request
	*record.Passed
	store *record.Store
	visit record.Visit
	shop  record.Shop
	files []string
}

// Release closes the open visit of a unit when the book says that it may go (record.Store.Release). The certificate
// is written and sealed first. For a unit that was released already and whose certificate is missing it writes
// that again from the same sealed run: the same number, name and date.
func Release(ctx context.Context, s *record.Store, q Request) (*Released, error) {
	if strings.TrimSpace(q.By) == "" {
		return nil, ErrNoName
	}
	serial, _, err := s.Spelling(ctx, q.Serial)
	if err != nil {
		return nil, err
	}
	q.Serial = serial
	g := &release{Request: q, store: s}
	write := func(p *record.Passed) (string, error) { return g.certify(ctx, p) }
	p, err := s.Release(ctx, q.Leaving, number, write)
	if errors.Is(err, record.ErrNoVisit) {
		if given := g.given(ctx); given != "" {
			return nil, fmt.Errorf("%w; %s", err, given)
		}
		p, err = s.Reissue(ctx, serial, q.Now, write)
	}
	if err != nil {
		return nil, err
	}
	v, err := s.Visit(ctx, p.Visit)
	return &Released{v, g.files, p.Said, g.shop}, err
}

// given says that the unit's latest visit has its certificate; "" when that is missing, or was never given out.
func (g *release) given(ctx context.Context) string {
	visits, err := g.store.Visits(ctx, g.Serial, 1)
	if err != nil || len(visits) == 0 || visits[0].Certificate == "" {
		return ""
	}
	v := visits[0]
	folder, err := g.store.Folder(v.Run)
	if err != nil || !folder.Has(record.CertificatePrefix+v.Certificate+".html", record.CertificatePrefix+v.Certificate+".pdf") {
		return ""
	}
	return fmt.Sprintf("it was released on run %s with certificate %s", v.Run, v.Certificate)
}

// number makes a certificate's number from a running one and the first digits of the record's hash, so that two
// shops' numbers do not meet.
func number(before int, sealed string) string { return fmt.Sprintf("C%04d-%.6s", before+1, sealed) }
