package dbc

import (
	"regexp"
	"strconv"
	"strings"
	"text/scanner"

	"go.einride.tech/can/pkg/dbc"
)

// Syntax says in plain words what the DBC library found wrong, with the text at that place (found), and what a
// correct definition of that kind looks like (do). The library's own reasons speak of tokens and idents.
func Syntax(text []byte, err dbc.Error) (found, do string) {
	at := err.Position().Offset
	return withFound(inWords(err.Reason()), standsAt(text, at)), shapes[definitionAt(text, at)]
}

// shapes are what the definitions look like, by their keyword; "" is for text outside of any.
var shapes = map[string]string{
	"":        `a definition begins with its keyword on a line of its own, such as BO_, SG_, VAL_ or CM_`,
	"VERSION": `write VERSION "text"`,
	"BU_":     `write BU_: Node1 Node2`,
	"BO_": `write BO_ 2566849278 MessageName: 8 SenderName (identifier plus 2147483648 for 29 bits, name, bytes, ` +
		`sender)`,
	"SG_": `write SG_ SignalName : 0|16@1+ (0.05,0) [0|3212.75] "kPa" ReceiverName (first bit, bits, byte order 0 ` +
		`or 1, sign + or -, factor, offset, lowest, highest, unit, receiver)`,
	"VAL_":         `write VAL_ 2566849278 SignalName 0 "closed" 1 "open";`,
	"VAL_TABLE_":   `write VAL_TABLE_ TableName 0 "closed" 1 "open";`,
	"SIG_VALTYPE_": `write SIG_VALTYPE_ 2566849278 SignalName : 1; (1: 32-bit, 2: 64-bit floating point)`,
	"CM_":          `write CM_ SG_ 2566849278 SignalName "comment";`,
	"BA_DEF_":      `write BA_DEF_ SG_ "AttributeName" INT 0 100;`,
	"BA_DEF_DEF_":  `write BA_DEF_DEF_ "AttributeName" 0;`,
	"BA_":          `write BA_ "AttributeName" SG_ 2566849278 SignalName 5;`,
	"BO_TX_BU_":    `write BO_TX_BU_ 2566849278 : SenderName,OtherSender;`,
	"EV_":          `environment variables (EV_) are not read: leave the line out`,
}

var keywordAtStart = regexp.MustCompile(`(?m)^[ \t]*([A-Z_]+)\b`)

// definitionAt is the keyword of the definition in which an offset stands.
func definitionAt(text []byte, offset int) string {
	offset = min(max(offset, 0), len(text))
	end := offset
	for end < len(text) && text[end] != '\n' && text[end] != ' ' {
		end++ // a keyword that begins at the offset itself
	}
	found := ""
	for _, m := range keywordAtStart.FindAllSubmatch(text[:end], -1) {
		if _, known := shapes[string(m[1])]; known {
			found = string(m[1])
		}
	}
	return found
}

// longestShown is how much of a line is repeated in an error, in characters.
const longestShown = 20

// withFound puts what stands at the place behind what is wrong there.
func withFound(wrong, found string) string {
	before := strings.HasSuffix(wrong, beforeThis)
	switch {
	case strings.HasPrefix(found, "the "): // nothing stands there
		return strings.TrimSuffix(wrong, beforeThis) + ", but " + found
	case before:
		return wrong + found
	case strings.HasPrefix(wrong, "expected"):
		return wrong + ", found " + found
	}
	return wrong + ": " + found
}

// beforeThis ends what is wrong where the library names the place behind the wrong one.
const beforeThis = " before "

// standsAt says what is written at an offset, in quotes, or that nothing is.
func standsAt(text []byte, offset int) string {
	if offset < 0 || offset >= len(text) {
		return "the file ends here"
	}
	line, _, _ := strings.Cut(string(text[offset:]), "\n")
	line = strings.TrimSpace(line)
	if line == "" {
		return "the line ends here"
	}
	word, _, _ := strings.Cut(line, " ")
	if r := []rune(word); len(r) > longestShown {
		word = string(r[:longestShown]) + "..."
	}
	return strconv.Quote(word)
}

var tokenExpected = regexp.MustCompile(`^expected token: (.+), found: .* \((?s:(.*))\)$`)

// inWords puts a reason of the library (go.einride.tech/can v0.17, pkg/dbc) into words.
func inWords(reason string) string {
	if m := tokenExpected.FindStringSubmatch(reason); m != nil {
		return "expected " + tokenWords(m[1]) + beforeThis
	}
	for _, r := range reasons {
		if strings.HasPrefix(reason, r.begins) {
			return r.words
		}
	}
	return "this cannot be read"
}

// tokenWords is a character in quotes, or the end of a line, as the library writes it.
func tokenWords(token string) string {
	if token == scanner.TokenString('\n') {
		return "the end of the line"
	}
	return strings.ReplaceAll(token, `"`, "'")
}

var reasons = []struct{ begins, words string }{
	{"expected ident", "expected a name or keyword, which begins with a letter or _"},
	{`expected token "`, `expected text in "..."`},
	{"unterminated string", `this " is not closed`},
	{"expected keyword", "expected another keyword"},
	{"expected int or float", "expected a number" + beforeThis},
	{"expected int", "expected a whole number, 0 or more"},
	{"invalid uint", "expected a whole number, 0 or more"},
	{"invalid int", "expected a whole number"},
	{"invalid float", "expected a number"},
	{"invalid value", "a number that is not possible here"},
	{"enum index", "a number that stands for no value of the attribute's list"},
	{"expected multiplexer", "expected M, m and a number, or a colon"},
	{"invalid multiplexer value", "expected m and a whole number, such as m2"},
	{"unexpected token", "expected + or -"},
	{"invalid identifier", "this name is not possible: 1 to 128 letters, digits and _, no digit first"},
	{"invalid extended ID", "this identifier has more than 29 bits"},
	{"invalid standard ID", "this identifier has more than 11 bits and not the mark of one of 29 bits (add 2147483648)"},
	{"invalid signal value type", "expected 0, 1 or 2"},
	{"invalid attribute value type", "expected INT, HEX, FLOAT, STRING or ENUM"},
	{"invalid environment variable type", "expected 0, 1 or 2"},
	{"invalid object type", "expected BU_, BO_, SG_ or EV_"},
	{"invalid access type", "expected the name of an access type"},
	{"invalid char", "a character that is not possible here"},
	{"literal not terminated", `this " is not closed`},
}
