package yamltext

import "strings"

// Near returns the known word nearest to a misspelt one; "" when none is near enough to be
// what was meant.
func Near(word string, known []string) string {
	if len(word) > 64 {
		return ""
	}
	best, least := "", 1+max(1, len(word)/3)
	for _, k := range known {
		if d := distance(plain(word), plain(k)); d < least {
			best, least = k, d
		}
	}
	return best
}

// plain sets aside what people vary without meaning it.
func plain(s string) string {
	return strings.NewReplacer("-", "", "_", "", " ", "").Replace(strings.ToLower(s))
}

// distance is the number of letters to insert, delete, change or swap with the neighbour
// (optimal string alignment).
func distance(a, b string) int {
	x, y := []rune(a), []rune(b)
	before, last, now := make([]int, len(y)+1), make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(x); i++ {
		now[0] = i
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			now[j] = min(last[j]+1, now[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				now[j] = min(now[j], before[j-2]+1)
			}
		}
		before, last, now = last, now, before
	}
	return last[len(y)]
}

// DidYouMean words a suggestion, or lists what is known when nothing is near.
func DidYouMean(word string, known []string) string {
	if near := Near(word, known); near != "" {
		return "did you mean " + near + "?"
	}
	if len(known) == 0 {
		return ""
	}
	return "known here: " + strings.Join(known, ", ")
}
