package main

import (
	"context"
	"fmt"
	"io"
	"path/filepath"
	"time"

	"holdfast/bench/judge"
	"holdfast/bench/record"
	"holdfast/bench/report"
	"holdfast/bench/seal"
)

// certificateNumber makes a number from a running one and the first digits of the record's hash, so that two
// shops' numbers do not meet.
func certificateNumber(_ string, folder record.Folder) func(before int) string {
	hash, err := seal.HashOf(folder.Path, record.RunSeal)
	if err != nil {
		hash = "unsealed"
	}
	return func(before int) string { return fmt.Sprintf("C%04d-%s", before+1, hash[:6]) }
}

// certify writes the certificate of a released run into its folder, as HTML and PDF, and seals both.
func certify(ctx context.Context, s *record.Store, runs string, folder record.Folder, res *judge.Result,
	v *record.Visit, note record.Note, paper report.Paper) (files []string, err error) {
	c, err := certificateOf(ctx, s, runs, folder, v, note)
	if err != nil {
		return nil, err
	}
	name := "certificate-" + note.Certificate
	err = folder.Write(name+".html", func(w io.Writer) error {
		return report.HTMLCertificate(w, res, c,
			paper)
	})
	if err != nil {
		return nil, err
	}
	err = folder.Write(name+".pdf", func(w io.Writer) error { return report.PDF(w, res, c, paper) })
	if err != nil {
		return nil, err
	}
	about := map[string]string{"certificate": note.Certificate, "visit": v.ID, "by": note.By,
		"record": c.SealHash}
	_, err = record.SealFiles(runs, folder, name, []string{name + ".html", name + ".pdf"}, res, note.Time,
		about)
	return []string{filepath.Join(folder.Path, name+".html"), filepath.Join(folder.Path, name+".pdf")}, err
}

// certificateOf gathers what the certificate says beyond the run.
func certificateOf(ctx context.Context, s *record.Store, runs string, folder record.Folder, v *record.Visit,
	note record.Note) (*report.Certificate, error) {
	shop, err := s.Shop(ctx)
	if err != nil {
		return nil, err
	}
	answers, _, err := record.Verify(runs, folder)
	if err != nil {
		return nil, err
	}
	c := &report.Certificate{Number: note.Certificate, Issued: note.Time, By: note.By, Shop: shop.Name,
		Address: shop.Address,
		Visit:   v.ID, Received: v.Opened, UnitKind: v.UnitKind, UnitHours: v.Hours, Owner: v.Owner, Complaint: v.Complaint, Parts: v.Parts,
		SealHash: answers[0].Hash, Key: answers[0].Key}
	for _, f := range v.Faults {
		c.AsFound = append(c.AsFound, faultWords(f))
	}
	for _, f := range v.Found {
		c.AsFound = append(c.AsFound, "found: "+findingWords(f))
	}
	for _, w := range v.Vehicle {
		if !w.Attached.After(note.Time) { // a certificate that is printed again says what it said
			c.Vehicle = append(c.Vehicle, onCertificate(w))
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

// onCertificate says that the vehicle was listened to. What was heard there decides nothing here.
func onCertificate(w record.VehicleCheck) string {
	when := map[record.Stage]string{record.Before: "before the unit was taken out",
		record.After: "after it was fitted again"}[w.Stage]
	return fmt.Sprintf("listened to on %s %s: summary %s in the record (SHA-256 %.16s...)",
		w.Began.Format(time.DateOnly), when, w.Folder, w.Seal)
}
