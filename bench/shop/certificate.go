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

// certificatePrefix begins the names of a certificate's files in the run's folder.
const certificatePrefix = "certificate-"

// certify writes the certificate into the run's folder, as HTML and PDF, and seals both.
func (g *release) certify(ctx context.Context) (files []string, err error) {
	c, err := g.certificate(ctx)
	if err != nil {
		return nil, err
	}
	name := certificatePrefix + g.note.Certificate
	err = g.folder.Write(name+".html", func(w io.Writer) error {
		return report.HTMLCertificate(w, g.result, c, g.Paper)
	})
	if err != nil {
		return nil, err
	}
	err = g.folder.Write(name+".pdf", func(w io.Writer) error { return report.PDF(w, g.result, c, g.Paper) })
	if err != nil {
		return nil, err
	}
	about := map[string]string{"certificate": g.note.Certificate, "visit": g.visit.ID, "by": g.note.By,
		"record": c.SealHash}
	_, err = record.SealFiles(g.runs, g.folder, name, []string{name + ".html", name + ".pdf"}, g.result, g.note.Time,
		about)
	path := filepath.Join(g.folder.Path, name)
	return []string{path + ".html", path + ".pdf"}, err
}

// certificate gathers what the certificate says beyond the run.
func (g *release) certificate(ctx context.Context) (_ *report.Certificate, err error) {
	if g.shop, err = g.store.Shop(ctx); err != nil {
		return nil, err
	}
	answers, _, err := record.Verify(g.runs, g.folder)
	if err != nil {
		return nil, err
	}
	v := &g.visit
	c := &report.Certificate{Number: g.note.Certificate, Issued: g.note.Time, By: g.note.By,
		Shop: g.shop.Name, Address: g.shop.Address, Visit: v.ID, Received: v.Opened, UnitKind: v.UnitKind,
		UnitHours: v.Hours, Owner: v.Owner, Complaint: v.Complaint, Parts: v.Parts,
		SealHash: answers[0].Hash, Key: answers[0].Key}
	for _, f := range v.Faults {
		c.AsFound = append(c.AsFound, FaultText(f))
	}
	for _, f := range v.Found {
		c.AsFound = append(c.AsFound, "found: "+FindingText(f))
	}
	for _, w := range v.Vehicle {
		if !w.Attached.After(g.note.Time) { // a certificate that is printed again says what it said
			c.Vehicle = append(c.Vehicle, vehicleLine(w))
		}
	}
	for _, f := range answers[0].Statement.Files {
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
