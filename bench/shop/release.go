package shop

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/bench/seal"
)

// Failures of a release.
var (
	ErrNotReleased   = errors.New("not released")                          // the unit may not go
	ErrNoName        = errors.New("--by is empty: a release needs a name") // nobody stands for it
	ErrNoCertificate = errors.New("its certificate could not be written")  // the visit is closed all the same
)

// Request asks for a unit to be let go.
type Request struct {
	Serial    string
	By        string // who lets it go: stands on the certificate
	Scenario  string // name of the scenario that must have been passed
	Simulated bool   // a simulated run will do, for practice
	Paper     report.Paper
	Now       time.Time
}

// Released is a unit that was let go.
type Released struct {
	Visit record.Visit `json:"visit"`
	Files []string     `json:"files"` // of the certificate
	Shop  record.Shop  `json:"-"`     // who gives it out, as the certificate says
}

// release is a unit on its way out: the visit that ends, and the run that it is released on.
type release struct {
	Request
	store  *record.Store
	runs   string // the folder of the records
	folder record.Folder
	result *judge.Result
	visit  record.Visit
	note   record.Note // of the release
	shop   record.Shop
}

// Release closes the open visit of a unit when its latest run of the scenario within the visit is a pass, its record
// is as it was sealed, and judged again it is still a pass. It writes and seals the certificate. For a unit that was
// released already and whose certificate is missing it writes that again: the same number, name and date.
func Release(ctx context.Context, s *record.Store, runs string, q Request) (*Released, error) {
	if strings.TrimSpace(q.By) == "" {
		return nil, ErrNoName
	}
	g := &release{Request: q, store: s, runs: runs}
	err := g.findPass(ctx)
	if errors.Is(err, record.ErrNoVisit) {
		return g.again(ctx, err)
	}
	if err != nil {
		return nil, err
	}
	note := record.Note{Time: q.Now, By: q.By, Serial: q.Serial, Run: g.result.Run}
	if g.note, err = s.Release(ctx, note, g.number); err != nil {
		return nil, err
	}
	if g.visit, err = s.Visit(ctx, g.visit.ID); err != nil {
		return nil, err
	}
	files, err := g.certify(ctx)
	if err != nil {
		return nil, fmt.Errorf("visit %s is closed, but %w: %w", g.visit.ID, ErrNoCertificate, err)
	}
	return &Released{g.visit, files, g.shop}, nil
}

// findPass finds the visit and the run that a unit may be released on, or says why it may not go.
func (g *release) findPass(ctx context.Context) error {
	v, ok, err := g.store.OpenVisit(ctx, g.Serial)
	if err != nil {
		return err
	}
	if !ok {
		return fmt.Errorf("%w of %q; holdfast intake opens one", record.ErrNoVisit, g.Serial)
	}
	g.visit = v
	found, err := g.store.Search(ctx, record.Search{Visit: v.ID, Scenario: g.Scenario, Limit: 1})
	if err != nil {
		return err
	}
	if len(found) == 0 {
		return refused("no run of %s since visit %s was opened", g.Scenario, v.ID)
	}
	last := found[0]
	if why := g.whyNot(last); why != "" {
		return refused("the latest run of %s, %s, %s", g.Scenario, last.ID, why)
	}
	if g.folder, err = record.OpenFolder(last.Folder); err != nil {
		return err
	}
	if wrong := record.Tampered(g.runs, g.folder); wrong != "" {
		return refused("the record of run %s is not to be relied on: %s", last.ID, wrong)
	}
	g.result, err = record.Rejudge(g.folder)
	if err == nil && g.result.Verdict != judge.Pass {
		return refused("judged again, run %s is no pass but %s", last.ID, g.result.Verdict)
	}
	return err
}

func (g *release) whyNot(last record.Run) string {
	switch {
	case last.Verdict != judge.Pass.String():
		return "is no pass but " + last.Verdict
	case last.Simulated && !g.Simulated:
		return "was simulated: no real unit was tested (--simulated releases it for practice)"
	}
	return ""
}

func refused(why string, args ...any) error {
	return fmt.Errorf("%w: "+why, append([]any{ErrNotReleased}, args...)...)
}

// again writes the certificate of a unit that was released already, when it is missing: after a full disk, or a lost
// file. Otherwise it is refused with why.
func (g *release) again(ctx context.Context, why error) (*Released, error) {
	visits, err := g.store.Visits(ctx, g.Serial, 1)
	if err != nil || len(visits) == 0 || visits[0].Certificate == "" {
		return nil, errors.Join(why, err)
	}
	v := visits[0]
	if g.folder, err = record.Resolve(g.runs, v.Run); err != nil {
		return nil, err
	}
	name := filepath.Join(g.folder.Path, certificatePrefix+v.Certificate)
	_, html := os.Stat(name + ".html")
	_, pdf := os.Stat(name + ".pdf")
	if html == nil && pdf == nil {
		return nil, fmt.Errorf("%w; it was released on run %s with certificate %s", why, v.Run, v.Certificate)
	}
	if g.result, err = record.Rejudge(g.folder); err != nil {
		return nil, err
	}
	g.visit, g.note = v, record.Note{Time: v.Closed, By: v.ReleasedBy, Run: v.Run, Certificate: v.Certificate}
	files, err := g.certify(ctx)
	if err != nil {
		return nil, fmt.Errorf("visit %s was closed before, but %w: %w", v.ID, ErrNoCertificate, err)
	}
	return &Released{g.visit, files, g.shop}, nil
}

// number makes a certificate's number from a running one and the first digits of the record's hash, so that two
// shops' numbers do not meet.
func (g *release) number(before int) string {
	hash, err := seal.HashOf(g.folder.Path, record.RunSeal)
	if err != nil {
		hash = "unsealed"
	}
	return fmt.Sprintf("C%04d-%s", before+1, hash[:6])
}
