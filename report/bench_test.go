package report

import (
	"io"
	"testing"
)

// BenchmarkMake folds a log of one treatment and makes its report.
func BenchmarkMake(b *testing.B) {
	es := kept(b)
	b.ResetTimer()
	for range b.N {
		if _, err := Make(entries(b, es), nil, "A-1", Source{}); err != nil {
			b.Fatal(err)
		}
	}
}

// BenchmarkWrite writes a report in each of its forms.
func BenchmarkWrite(b *testing.B) {
	r := soundReport(b)
	for _, f := range Forms() {
		b.Run(f, func(b *testing.B) {
			for range b.N {
				if err := r.Write(io.Discard, f, "en"); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkReaderAgain makes a report again when the log has gone on by one entry.
func BenchmarkReaderAgain(b *testing.B) {
	es := kept(b)
	book := &shelf{es[:len(es)/2]}
	r := NewReader(book, "A-1", "1.0")
	for i := 0; b.Loop(); i++ {
		book.es = es[:len(es)/2+i%(len(es)/2)]
		if len(book.es) <= int(r.seen) {
			book.es = es[:r.seen]
		}
		if _, err := r.Report(b.Context()); err != nil {
			b.Fatal(err)
		}
	}
}
