// Package record is where runs live. Every run is a folder of its own under the out folder
//
//	<out>/<run>/frames.pcapng  every frame heard and sent
//	            run.journal    every reading, command and step (bench/journal)
//	            result.json    the judgement
//	            report.html    the report for people
//	            junit.xml      the report for build servers
//	<out>/index.db             what is in the folders, for searching (SQLite)
//
// The folders are the truth. The index can be lost or rebuilt (Store.Reindex) without losing anything,
// and a folder can be copied away and still be read and judged again (Rejudge).
//
// It decides nothing and draws nothing. It does not delete runs.
package record
