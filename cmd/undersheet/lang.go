package main

import (
	"fmt"
	"slices"
	"strings"

	"undersheet/logbook"
	"undersheet/logbook/words"
)

// speaking is the language that a command's sentences are in. Its own errors, which
// say how to use it, stay English.
type speaking struct {
	Lang string `placeholder:"LANG" help:"Language of sentences, ${languages}; unless stated, the site's."`
}

// Validate is asked by the parser.
func (s *speaking) Validate() error {
	if s.Lang != "" && !slices.Contains(words.Languages(), s.Lang) {
		return fmt.Errorf("--lang %s: there are sentences in %s", s.Lang, strings.Join(words.Languages(), ", "))
	}
	return nil
}

// of is the language for what is said of a site, which may not be known.
func (s *speaking) of(site *logbook.Site) string {
	if s.Lang != "" {
		return s.Lang
	}
	return site.Speaks()
}
