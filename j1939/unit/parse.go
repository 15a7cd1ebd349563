package unit

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// Largest is the greatest magnitude accepted, in the base unit. Nothing on a bench is near
// it; a number beyond is a slip of the keyboard.
const Largest = 1e9

// ParseAs reads a quantity of one dimension and returns it in the base unit. Errors say what
// was found and what would do.
func ParseAs(d Dimension, text string) (float64, error) {
	number, symbolText, err := split(text)
	if err != nil {
		return 0, err
	}
	if symbolText == "" {
		return 0, fmt.Errorf("%s: which unit? write %s %s", number, number, d.Base())
	}
	if _, ok := d.find(tidy(symbolText)); !ok {
		return 0, d.wrongUnit(symbolText)
	}
	return d.value(number, symbolText)
}

// Duration reads a time as ParseAs does, rounded to a nanosecond.
func Duration(text string) (time.Duration, error) {
	s, err := ParseAs(Time, text)
	return time.Duration(math.Round(s * 1e9)), err
}

func (d Dimension) wrongUnit(symbolText string) error {
	if other, ok := Of(symbolText); ok {
		return fmt.Errorf("%s is a unit of %s; %s is wanted here: %s", symbolText, other, d, d.list())
	}
	return fmt.Errorf("%q is no unit known here%s; %s is written in %s", symbolText, closeTo(symbolText), d,
		d.list())
}

func (d Dimension) list() string {
	s := d.Symbols()
	if len(s) == 1 {
		return s[0]
	}
	return strings.Join(s[:len(s)-1], ", ") + " or " + s[len(s)-1]
}

func (d Dimension) value(number, symbolText string) (float64, error) {
	s, _ := d.find(tidy(symbolText))
	v, err := strconv.ParseFloat(number, 64)
	if err != nil {
		return 0, fmt.Errorf("%s is not a number that can be held", number)
	}
	v = v * s.mul / s.div
	if s.add != 0 {
		v += s.add
	}
	if !(math.Abs(v) <= Largest) {
		return 0, fmt.Errorf("%s %s is beyond anything on a bench (largest: %g %s)", number, symbolText,
			Largest, d.Base())
	}
	return v, nil
}

// split parts the text into a decimal number and the rest. Hexadecimal, NaN, Inf and
// digit-group separators are no numbers here.
func split(text string) (number, rest string, err error) {
	text = strings.TrimSpace(strings.Replace(text, "−", "-", 1)) // the typographic minus
	end := numberEnd(text)
	number, rest = text[:end], strings.TrimSpace(text[end:])
	switch {
	case text == "":
		return "", "", fmt.Errorf("nothing where a number with a unit is wanted, for example 9 bar")
	case number == "":
		return "", "", fmt.Errorf("%q does not start with a number; write for example 9 bar", clip(text))
	case strings.HasPrefix(rest, ","):
		return "", "", fmt.Errorf("%q: write the decimal point as a point, for example 9.5 bar", clip(text))
	}
	return strings.TrimPrefix(number, "+"), clip(rest), nil
}

// numberEnd returns the length of the decimal number at the start of text; 0 when there is none.
func numberEnd(text string) int {
	i := 0
	if i < len(text) && (text[i] == '+' || text[i] == '-') {
		i++
	}
	start := i
	i = digits(text, i)
	whole := i - start
	if i < len(text) && text[i] == '.' {
		j := digits(text, i+1)
		if whole == 0 && j == i+1 {
			return 0
		}
		i = j
	} else if whole == 0 {
		return 0
	}
	return exponentEnd(text, i)
}

func exponentEnd(text string, i int) int {
	if i >= len(text) || (text[i] != 'e' && text[i] != 'E') {
		return i
	}
	j := i + 1
	if j < len(text) && (text[j] == '+' || text[j] == '-') {
		j++
	}
	if end := digits(text, j); end > j {
		return end
	}
	return i
}

func digits(text string, i int) int {
	for i < len(text) && text[i] >= '0' && text[i] <= '9' {
		i++
	}
	return i
}

// closeTo finds a known unit that differs in letter case only: "Bar", "KPA".
func closeTo(symbolText string) string {
	for d := range Dimension(numDimensions) {
		for _, s := range dimensions[d].symbols {
			if strings.EqualFold(s.text, tidy(symbolText)) {
				return fmt.Sprintf(" (did you mean %s?)", s.text)
			}
		}
	}
	return ""
}

// clip keeps messages short when someone pastes a page into a field.
func clip(text string) string {
	const most = 40
	if r := []rune(text); len(r) > most {
		return string(r[:most]) + "..."
	}
	return text
}
