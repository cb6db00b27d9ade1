package logbook

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// pure lists what pure packages may import directly, and why those are pure: the
// same entries must give the same state on a depot's board, in a replay and in a
// report, so nothing here may see a clock, a file, a socket or another thread.
// (What the standard library imports itself cannot be pinned: fmt pulls in os.)
var pure = []struct {
	root    string // folder from the module's root
	below   bool   // its sub-folders, too
	imports string
}{
	{"logbook", false, "bufio bytes crypto/sha256 encoding/binary encoding/hex encoding/json errors fmt io math reflect slices strconv strings time unicode/utf8"},
	{"sensor", false, "context crypto/sha256 encoding/hex errors fmt math strings time unicode/utf8"},
	{"rules", true, "bytes cmp embed encoding/base64 encoding/binary encoding/csv encoding/json errors fmt iter maps math math/rand/v2 slices sort strconv strings time " +
		"gonum.org/v1/gonum/blas gonum.org/v1/gonum/blas/blas64 gonum.org/v1/gonum/floats gonum.org/v1/gonum/lapack/lapack64 gonum.org/v1/gonum/mat gonum.org/v1/gonum/stat/distuv undersheet/logbook undersheet/rules/"},
}

// impure are the functions of allowed packages that pure code must not use.
var impure = map[string]func(name string) bool{
	"time": func(n string) bool {
		return strings.Contains(" Now Since Until After AfterFunc NewTimer NewTicker Tick Sleep Local LoadLocation ", " "+n+" ")
	},
	"math/rand/v2": func(n string) bool { // all but generators with a seed
		return !strings.Contains(" New NewPCG NewChaCha8 Rand Source PCG ChaCha8 ", " "+n+" ")
	},
	"gonum.org/v1/gonum/blas/blas64":     func(n string) bool { return n == "Use" }, // it changes what everybody else computes with
	"gonum.org/v1/gonum/lapack/lapack64": func(n string) bool { return n == "Use" },
}

// folders returns root and, with below, its sub-folders.
func folders(t *testing.T, root string, below bool) []string {
	t.Helper()
	var found []string
	require.NoError(t, filepath.WalkDir(filepath.Join("..", root), func(p string, d fs.DirEntry, err error) error {
		if err != nil || !d.IsDir() {
			return err
		}
		if found = append(found, p); !below {
			return fs.SkipDir
		}
		if d.Name() == "testdata" || strings.HasPrefix(d.Name(), ".") && p != filepath.Join("..", root) {
			found = found[:len(found)-1]
			return fs.SkipDir
		}
		return nil
	}))
	return found
}

// sources parses the Go files of a folder that are no tests.
func sources(t *testing.T, folder string) (*token.FileSet, []*ast.File) {
	t.Helper()
	set := token.NewFileSet()
	names, err := filepath.Glob(filepath.Join(folder, "*.go"))
	require.NoError(t, err)
	var files []*ast.File
	for _, name := range names {
		if !strings.HasSuffix(name, "_test.go") {
			f, err := parser.ParseFile(set, name, nil, parser.ParseComments)
			require.NoError(t, err)
			files = append(files, f)
		}
	}
	return set, files
}

func TestPurePackagesStayPure(t *testing.T) {
	for _, p := range pure {
		n := 0
		for _, folder := range folders(t, p.root, p.below) {
			set, files := sources(t, folder)
			for _, f := range files {
				n++
				for _, fault := range faults(f, strings.Fields(p.imports)) {
					t.Errorf("%v: %s", set.Position(fault.at), fault.what)
				}
			}
		}
		require.NotZero(t, n, "no files under %s", p.root)
	}
}

type fault struct {
	at   token.Pos
	what string
}

// faults returns what in f is not pure.
func faults(f *ast.File, allowed []string) (found []fault) {
	paths := map[string]string{} // by the name in the file
	for _, imp := range f.Imports {
		p, _ := strconv.Unquote(imp.Path.Value)
		name := path.Base(p)
		if name == "v2" {
			name = path.Base(path.Dir(p))
		}
		if imp.Name != nil {
			name = imp.Name.Name
		}
		paths[name] = p
		if !may(p, allowed) || name == "." {
			found = append(found, fault{imp.Pos(), "pure packages do not import " + p})
		}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.GoStmt:
			found = append(found, fault{n.Pos(), "pure packages start no goroutine"})
		case *ast.SelectorExpr:
			x, ok := n.X.(*ast.Ident)
			if bad := impure[paths[nameOf(x, ok)]]; bad != nil && bad(n.Sel.Name) {
				found = append(found, fault{n.Pos(), "pure packages do not use " + x.Name + "." + n.Sel.Name})
			}
		}
		return true
	})
	return found
}

func nameOf(x *ast.Ident, ok bool) string {
	if ok {
		return x.Name
	}
	return ""
}

// may reports whether p is allowed; an allowed path that ends with / allows all below it.
func may(p string, allowed []string) bool {
	for _, a := range allowed {
		if p == a || strings.HasSuffix(a, "/") && strings.HasPrefix(p, a) {
			return true
		}
	}
	return false
}

// The check itself must be able to fail.
func TestPurityCheckFinds(t *testing.T) {
	for text, want := range map[string]string{
		`import "os"`:                                   "import os",
		`import . "time"`:                               "import time",
		"import \"time\"\nvar x = time.Now()":           "time.Now",
		"import clock \"time\"\nvar x = clock.After":    "clock.After",
		"import \"math/rand/v2\"\nvar x = rand.IntN(3)": "rand.IntN",
		"func f() { go f() }":                           "goroutine",
	} {
		f, err := parser.ParseFile(token.NewFileSet(), "x.go", "package x\n"+text, 0)
		require.NoError(t, err)
		got := faults(f, []string{"time", "math/rand/v2"})
		require.Len(t, got, 1, text)
		require.Contains(t, got[0].what, want)
	}
	f, err := parser.ParseFile(token.NewFileSet(), "x.go", "package x\nimport (\"time\"; \"math/rand/v2\")\nvar x = rand.New(rand.NewPCG(1, 2))\nvar d = time.Hour", 0)
	require.NoError(t, err)
	require.Empty(t, faults(f, []string{"time", "math/rand/v2"}))
}

// docs returns how many packages' worth of Go files are in a folder (0 or 1), and
// how many of the files that count have a package doc. Those of tests count only
// where there are no others.
func docs(t *testing.T, folder string) (packages, docs int) {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(folder, "*.go"))
	require.NoError(t, err)
	isTest := func(n string) bool { return strings.HasSuffix(n, "_test.go") }
	if slices.ContainsFunc(names, func(n string) bool { return !isTest(n) }) {
		names = slices.DeleteFunc(names, isTest)
	}
	for _, n := range names {
		f, err := parser.ParseFile(token.NewFileSet(), n, nil, parser.ParseComments|parser.PackageClauseOnly)
		require.NoError(t, err)
		if f.Doc != nil && len(strings.Fields(f.Doc.Text())) > 5 {
			docs++
		}
	}
	return min(len(names), 1), docs
}

// Every package of the module says in its doc what it is for.
func TestEveryPackageHasADoc(t *testing.T) {
	n := 0
	for _, folder := range folders(t, ".", true) {
		packages, docs := docs(t, folder)
		n += packages
		if docs != packages {
			t.Errorf("%s: %d files have a package doc, want %d", folder, docs, packages)
		}
	}
	require.Greater(t, n, 20, "the module's packages are found")
}

// The check itself must be able to fail.
func TestDocCheckFinds(t *testing.T) {
	const doc = "// Package x is for whoever tests this.\n"
	for name, c := range map[string]struct {
		files          map[string]string
		packages, docs int
	}{
		"none":       {nil, 0, 0},
		"one":        {map[string]string{"x.go": doc + "package x", "y.go": "package x"}, 1, 1},
		"missing":    {map[string]string{"x.go": "package x"}, 1, 0},
		"too short":  {map[string]string{"x.go": "// Package x is.\npackage x"}, 1, 0},
		"two":        {map[string]string{"x.go": doc + "package x", "y.go": doc + "package x"}, 1, 2},
		"in a test":  {map[string]string{"x.go": "package x", "x_test.go": doc + "package x"}, 1, 0},
		"tests only": {map[string]string{"x_test.go": "package x"}, 1, 0},
		"far above":  {map[string]string{"x.go": doc + "\npackage x"}, 1, 0},
	} {
		folder := t.TempDir()
		for file, text := range c.files {
			require.NoError(t, os.WriteFile(filepath.Join(folder, file), []byte(text+"\n"), 0o600))
		}
		packages, docs := docs(t, folder)
		require.Equal(t, []int{c.packages, c.docs}, []int{packages, docs}, name)
	}
}

// The map for contributors says what the packages of each room may import of ours. Of what it
// allows, the folders below are allowed as well, and each room its own.
func TestTheMapOfRoomsIsTrue(t *testing.T) {
	text, err := os.ReadFile("../DEVELOPERS.md")
	require.NoError(t, err)
	may := map[string][]string{}
	row := regexp.MustCompile("(?m)^\\| `([a-z/]+)/` \\| .* \\| ([a-z/, ]+) \\|$")
	for _, m := range row.FindAllStringSubmatch(string(text), -1) {
		may[m[1]] = strings.Split(m[2], ", ")
	}
	require.Greater(t, len(may), 10, "the table was not found")
	seen := map[string]bool{}
	for _, folder := range folders(t, ".", true) {
		room := strings.TrimPrefix(filepath.ToSlash(folder), "../")
		for may[room] == nil && room != "." {
			room = path.Dir(room)
		}
		_, files := sources(t, folder)
		for _, f := range files {
			for _, i := range f.Imports {
				p, ours := strings.CutPrefix(strings.Trim(i.Path.Value, `"`), "undersheet/")
				if !ours || slices.Equal(may[room], []string{"all"}) {
					continue
				}
				seen[room] = true
				in := func(allowed string) bool { return strings.HasPrefix(p+"/", allowed+"/") }
				require.True(t, in(room) || slices.ContainsFunc(may[room], in), "%s imports %s, which the map does not allow %s", folder, p, room)
			}
		}
	}
	require.Greater(t, len(seen), 8)
}
