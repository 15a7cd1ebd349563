package main

import (
	"io"
	"os"
	"path/filepath"
	"strings"

	"holdfast/bench/record"
	"holdfast/bench/report"
)

// writeHistoryPage writes a page that lists runs with links to their files, relative to the page.
func writeHistoryPage(path string, runs []record.Run) error {
	listed := make([]report.Listed, len(runs))
	for i, r := range runs {
		listed[i] = report.Listed{Run: r.ID, Serial: r.Serial, Scenario: r.Scenario, Verdict: r.Verdict,
			Visit:   r.Visit,
			Started: r.Started, Simulated: r.Simulated, Cause: causeShown(r), Links: filesOf(filepath.Dir(path), r.Folder)}
	}
	return record.WriteFile(path, func(w io.Writer) error { return report.Browse(w, "records", listed) })
}

// filesOf are the files of a run that a person looks at.
func filesOf(from, folder string) []report.Link {
	var links []report.Link
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil // the folder was moved away: the run is listed without files
	}
	for _, e := range entries {
		name := e.Name()
		text := name
		switch {
		case name == record.ReportFile:
			text = "report"
		case strings.HasPrefix(name, "certificate-") && filepath.Ext(name) != ".json" &&
			filepath.Ext(name) != ".sig":
			text = "certificate " + strings.TrimPrefix(filepath.Ext(name), ".")
		case name == record.ResultFile, strings.HasPrefix(name, "judgement-") && !strings.Contains(name,
			"seal"):
		default:
			continue
		}
		links = append(links, report.Link{Text: text, Href: relativeLink(from, filepath.Join(folder, name))})
	}
	return links
}

func relativeLink(from, to string) string {
	if abs, err := filepath.Abs(from); err == nil {
		if rel, err := filepath.Rel(abs, to); err == nil {
			return filepath.ToSlash(rel)
		}
	}
	return filepath.ToSlash(to)
}
