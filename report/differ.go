package report

import (
	"bytes"
	"fmt"
	"regexp"
	"strings"
)

// Difference is where a report's file is otherwise than it was written.
type Difference struct {
	Byte        int    // place of the first byte that differs, from 0
	Where       string // in words: the part of the report
	Found, Want string // what stands there, and what should; "" = the file or the report ends
}

// Differs compares a file with what was written again in the same form; nil = each byte
// is the same.
func Differs(form string, file, again []byte) *Difference {
	if bytes.Equal(file, again) {
		return nil
	}
	at := 0
	for at < len(file) && at < len(again) && file[at] == again[at] {
		at++
	}
	return &Difference{Byte: at, Where: where(form, again[:at]), Found: excerpt(file, at), Want: excerpt(again, at)}
}

// excerptBytes is how much of a file is shown from the first byte that differs.
const excerptBytes = 40

func excerpt(b []byte, at int) string {
	end := min(len(b), at+excerptBytes)
	return strings.ToValidUTF8(string(b[min(at, end):end]), "�")
}

// Beginnings of the parts of a report in its forms.
var (
	htmlParts = regexp.MustCompile(`<h2>([^<]*)</h2>`)
	jsonParts = regexp.MustCompile(`(?m)^  "([^"]*)":`)
	pdfParts  = regexp.MustCompile(`(?m)^(\d+) 0 obj`)
)

// where says in which part of a report the end of before lies.
func where(form string, before []byte) string {
	last := func(parts *regexp.Regexp) string {
		if all := parts.FindAllSubmatch(before, -1); len(all) > 0 {
			return string(all[len(all)-1][1])
		}
		return ""
	}
	line := 1 + bytes.Count(before, []byte("\n"))
	switch form {
	case "html":
		if part := last(htmlParts); part != "" {
			return fmt.Sprintf("the part %q, line %d", part, line)
		}
	case "json":
		if part := last(jsonParts); part != "" {
			return fmt.Sprintf("the field %q, line %d", part, line)
		}
	case "csv":
		row := before[bytes.LastIndexByte(before, '\n')+1:]
		section, _, _ := bytes.Cut(row, []byte(","))
		return fmt.Sprintf("row %d, section %q", line, section)
	case "pdf":
		if part := last(pdfParts); part != "" {
			return "object " + part + " of the PDF"
		}
	}
	return "its head, before the first part"
}
