package configs

import "fmt"

// mostSlips is how many letters a slip of the pen changes, adds or leaves out.
const mostSlips = 2

// meant asks whether a known word was meant, to be put behind a fault; "" where none is near.
func meant(word string, known []string) string {
	best, least := "", mostSlips+1
	for _, k := range known {
		if n := slips(word, k); n < least && n < len(k) {
			best, least = k, n
		}
	}
	if best == "" {
		return ""
	}
	return fmt.Sprintf("; did you mean %q?", best)
}

// slips counts the letters by which two words differ (Levenshtein's distance, 1965).
func slips(a, b string) int {
	x, y := []rune(a), []rune(b)
	row := make([]int, len(y)+1)
	for j := range row {
		row[j] = j
	}
	for i, r := range x {
		before := row[0]
		row[0] = i + 1
		for j, s := range y {
			change := before
			if r != s {
				change++
			}
			before = row[j+1]
			row[j+1] = min(change, before+1, row[j]+1)
		}
	}
	return row[len(y)]
}
