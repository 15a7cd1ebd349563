// Package report shows a judged run: a table on a terminal (Table), a page to keep and print (HTML) and
// JUnit XML for build servers (JUnit). It takes a judge.Result as it is: no number, verdict or cause
// is computed here, only written down, with values and uncertainties rounded as JCGM 100:2008, 7.2.6
// asks (j1939/unit.Format).
//
// Whatever a person or a bus put into the result (serial, names, notes, fault texts) is text: it cannot
// execute in the page, break the XML or move the terminal's cursor.
package report
