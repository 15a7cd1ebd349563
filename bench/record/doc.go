// Package record is where runs live. Every run is a folder of its own under the out folder
//
//	<out>/<run>/frames.pcapng  every frame heard and sent
//	            run.journal    every reading, command and step (bench/journal)
//	            result.json    the judgement
//	            report.html    the report for people
//	            junit.xml      the report for build servers
//	<out>/book.jsonl           the shop's book: units coming in and going out, findings
//	<out>/index.db             what is in the folders and the book, for searching (SQLite)
//
// The folders and the book are the truth. The index can be lost or rebuilt (Store.Reindex) without losing anything,
// and a folder can be copied away and still be read and judged again (Rejudge).
//
// It decides nothing and draws nothing. It does not delete runs.
package record
