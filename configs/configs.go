package configs

import (
	_ "embed" // the shipped files
	"fmt"
	"io"
	"os"
	"sort"
	"strings"

	"undersheet/logbook"
)

// maxSize is the largest site file that is read, in bytes.
const maxSize = 1 << 20

// Remark is something about one place of a site file: a fault or a warning.
type Remark struct {
	File         string // as it was named
	Line, Column int    // from 1
	Path         string // for example stores[0].air[1].channel; empty for the whole file
	Rule         string // what is wrong and what to do
	Got          string // what stands there, as it is shown; empty when nothing does
}

// String writes r as "file:line:column: path: rule (got value)".
func (r Remark) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s:%d:%d: ", r.File, r.Line, r.Column)
	if r.Path != "" {
		b.WriteString(r.Path + ": ")
	}
	b.WriteString(r.Rule)
	if r.Got != "" {
		fmt.Fprintf(&b, " (got %s)", r.Got)
	}
	return b.String()
}

// Warning is a Remark on something that is allowed.
type Warning = Remark

// Faults are all that keeps a site file from being used, in the order of its
// lines.
type Faults []Remark

// Error writes one fault a line.
func (f Faults) Error() string {
	lines := make([]string, len(f))
	for i, r := range f {
		lines[i] = r.String()
	}
	return strings.Join(lines, "\n")
}

//go:embed example-site.yaml
var example []byte

// exampleName is what the example site is called in remarks about it.
const exampleName = "example-site.yaml"

// Example returns a site file that teaches its keys: an invented depot with
// invented people.
func Example() []byte { return append([]byte(nil), example...) }

// Load reads the site file at path. The error is [Faults] when the file could be
// read but not used.
func Load(path string) (*logbook.Site, []Warning, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, nil, fmt.Errorf("read site file: %w", err)
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, maxSize+1))
	if err != nil {
		return nil, nil, fmt.Errorf("read site file %s: %w", path, err)
	}
	return Parse(path, text)
}

// Parse reads a site file; name stands in its remarks. Either the site or the
// error, always [Faults], is nil.
func Parse(name string, text []byte) (*logbook.Site, []Warning, error) {
	c := &checker{tree: newTree(name), site: new(logbook.Site)}
	c.read(text, c.site)
	if c.readable && !c.broken[""] {
		normalise(c.site)
		c.check()
	}
	sortRemarks(c.faults)
	sortRemarks(c.warnings)
	if len(c.faults) > 0 {
		return nil, c.warnings, Faults(c.faults)
	}
	return c.site, c.warnings, nil
}

// sortRemarks orders remarks by line and column.
func sortRemarks(rs []Remark) {
	sort.SliceStable(rs, func(i, k int) bool {
		if rs[i].Line != rs[k].Line {
			return rs[i].Line < rs[k].Line
		}
		return rs[i].Column < rs[k].Column
	})
}
