package yamltext

import "strings"

// said is a problem of syntax in plain words: what was found and what would do.
type said struct{ found, do string }

// anyOther is for text that is wrong in a way that needs no words of its own.
var anyOther = said{"this cannot be read as YAML",
	"write key: value, one a line, with the keys of one map indented by the same number of spaces"}

// inWords tells what the YAML library means by a message (github.com/goccy/go-yaml v1.19, folders parser and
// scanner). The message itself speaks of tokens and contexts, which say nothing to who wrote the file.
func inWords(message string) said {
	for _, s := range syntaxWords {
		if strings.Contains(message, s.part) {
			return s.said
		}
	}
	return anyOther
}

var notAKey = said{"this is not a key with its value",
	"write key: value; indent text that goes on from the line above; do not put list items among keys"}

// syntaxWords are parts of the library's messages; the first that fits is taken.
var syntaxWords = []struct {
	part string
	said said
}{
	{"flow mapping end token", said{"this { has no }", "close it: {key: value, key: value}"}},
	{"sequence end token", said{"this [ has no ]", "close it: [first, second]"}},
	{"corresponding to ']'", said{"this ] has no [ before it", "write [first, second], or leave the ] out"}},
	{"corresponding to '}'", said{"this } has no { before it", "write {key: value}, or leave the } out"}},
	{"',' or '}' must be", said{"a comma or a } is missing before this", "write {key: value, key: value}"}},
	{"',' or ']' must be", said{"a comma or a ] is missing before this", "write [first, second]"}},
	{"but found ','", said{"a comma with nothing before it", "write [first, second]"}},
	{"flow map content", said{"there is no key: value after this", "write {key: value, key: value}"}},
	{"end character of single-quoted", said{"this ' is not closed", "end the text with another '"}},
	{"end character of double-quoted", said{`this " is not closed`, `end the text with another "`}},
	{"unknown escape character", said{`a \ before this character means nothing inside "..."`,
		`write \\ for the character \ itself, or put the text in '...'`}},
	{"UTF-", said{`a \u or \U is not followed by the number of a character`, "write the character itself"}},
	{"reserved character", said{"plain text cannot begin with this character", `put the text in "..."`}},
	{"key-value delimiter ':'", said{"a colon is missing after this key", "write key: value"}},
	{"non-map value", notAKey},
	{"unexpected key name", notAKey},
	{"scalar value type", said{"a value is missing before this", "write [first, second] or key: value"}},
	{"header option", said{"only text can follow | or >", "write it on the next lines, indented"}},
	{"includes an implicit line break", said{"a key that goes over several lines", "write the key on one line"}},
	{"block sequence entries are not allowed", said{"a list cannot begin behind a key on the same line",
		"write the - on a line of its own below the key, or write key: [first, second]"}},
	{"mapping value is not allowed", said{"a colon inside this value",
		`write one key: value a line and indent nothing below a value; put text that holds a colon in "..."`}},
	{"not allowed in this context", said{"this does not belong here",
		"indent all keys of one map, and all items of one list, alike; close every bracket and quote once"}},
	{"invalid key for this map", said{"this cannot be a key", "write key: value"}},
	{"map key", said{"a key that is not where it belongs",
		"indent all keys of one map by the same number of spaces"}},
	{"multi-line content", said{"there is no text below this | or >", "write the text on the next lines, indented"}},
	{"anchor", said{"a YAML anchor (&name)", "write keys, lists and plain text only"}},
	{"alias", said{"a YAML alias (*name)", "write keys, lists and plain text only"}},
	{"tag", said{"a YAML tag (!name)", "write keys, lists and plain text only"}},
	{"directive", said{"a YAML directive (%)", "leave it out; text that begins with % is put in \"...\""}},
	{"YAML version", said{"a YAML directive (%)", "leave it out"}},
	{"document separator", said{"text behind --- or ...", "leave the --- or ... out: a file is one document"}},
	{"end content", said{"text behind --- or ...", "leave the --- or ... out: a file is one document"}},
}
