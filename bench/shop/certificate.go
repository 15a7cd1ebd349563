package shop

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"time"

	"holdfast/bench/record"
	"holdfast/bench/report"
)

// certify writes the certificate into the run's folder, as HTML and PDF, and seals both.
func (g *release) certify(ctx context.Context, p *record.Passed) (hash string, err error) {
	g.Passed = p
	if hash, err = g.writeCertificate(ctx); err != nil {
		err = fmt.Errorf("%w: %w", ErrNoCertificate, err)
	}
	return hash, err
}

func (g *release) writeCertificate(ctx context.Context) (hash string, err error) {
	c, err := g.certificate(ctx)
	if err != nil {
		return "", err
	}
	name := record.CertificatePrefix + g.Note.Certificate
	err = g.Folder.Write(name+".html", func(w io.Writer) error {
		return report.HTMLCertificate(w, g.Result, c, g.Paper)
	})
	if err != nil {
		return "", err
	}
	err = g.Folder.Write(name+".pdf", func(w io.Writer) error { return report.PDF(w, g.Result, c, g.Paper) })
	if err != nil {
		return "", err
	}
	path := filepath.Join(g.Folder.Path, name)
	g.files = []string{path + ".html", path + ".pdf"}
	about := map[string]string{"certificate": g.Note.Certificate, "visit": g.visit.ID, "by": g.Note.By,
		"record": c.SealHash, "book": g.Head.Hash, "entry": fmt.Sprint(g.Head.Number)}
	return g.store.Seal(g.Folder, name, []string{name + ".html", name + ".pdf"}, g.Result, g.Note.Time, about)
}

// certificate gathers what the certificate says beyond the run.
func (g *release) certificate(ctx context.Context) (_ *report.Certificate, err error) {
	if g.shop, err = g.store.Shop(ctx); err != nil {
		return nil, err
	}
	if g.visit, err = g.store.Visit(ctx, g.Passed.Visit); err != nil {
		return nil, err
	}
	v := &g.visit
	c := &report.Certificate{Number: g.Note.Certificate, Issued: g.Note.Time, By: g.Note.By,
		Shop: g.shop.Name, Address: g.shop.Address, Visit: v.ID, Received: v.Opened, UnitKind: v.UnitKind,
		UnitHours: v.Hours, Owner: v.Owner, Complaint: v.Complaint, Parts: v.Parts,
		SealHash: g.Seal.Hash, Key: g.Seal.Key,
		Entry: g.Head.Number, EntryHash: g.Head.Hash}
	for _, f := range v.Faults {
		c.AsFound = append(c.AsFound, FaultText(f))
	}
	for _, f := range v.Found {
		c.AsFound = append(c.AsFound, "found: "+FindingText(f))
	}
	for _, w := range v.Vehicle {
		if !w.Attached.After(g.Note.Time) { // a certificate that is printed again says what it said
			c.Vehicle = append(c.Vehicle, vehicleLine(w))
		}
	}
	for _, f := range g.Seal.Statement.Files {
		switch f.Name {
		case record.FramesFile:
			c.FramesHash = f.SHA256
		case record.JournalFile:
			c.JournalHash = f.SHA256
		}
	}
	return c, nil
}

// vehicleLine says that the vehicle was listened to. What was heard there decides nothing here.
func vehicleLine(w record.VehicleCheck) string {
	when := map[record.Stage]string{record.Before: "before the unit was taken out",
		record.After: "after it was fitted again"}[w.Stage]
	return fmt.Sprintf("listened to on %s %s: summary %s in the record (SHA-256 %.16s...)",
		w.Began.Format(time.DateOnly), when, w.Folder, w.Seal)
}
