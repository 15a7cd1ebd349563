package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"time"
)

//go:embed browse.html.tmpl
var browseText string

var browsePage = template.Must(template.New("browse").Parse(browseText))

// Listed is one run on a page that lists many.
type Listed struct {
	Run, Serial, Scenario, Verdict, Cause, Visit string
	Started                                      time.Time
	Simulated                                    bool
	Links                                        []Link
}

// Link is a file to go to: a path relative to the page, with slashes.
type Link struct{ Text, Href string }

// Browse writes a page that lists runs, newest first, each with its files.
func Browse(w io.Writer, title string, runs []Listed) error {
	type row struct {
		Listed
		When, Class string
	}
	rows := make([]row, len(runs))
	for i, r := range runs {
		rows[i] = row{r, r.Started.UTC().Format("2006-01-02 15:04"), cssClass(r.Verdict)}
	}
	err := browsePage.Execute(w, map[string]any{"Style": template.CSS(pageStyle), "Title": title,
		"Rows": rows})
	if err != nil {
		return fmt.Errorf("write the list of runs: %w", err)
	}
	return nil
}
