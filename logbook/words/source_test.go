package words

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestSourceHasSentences reads the source of the rules for the codes that they
// write, so that a new one without a sentence is found here.
func TestSourceHasSentences(t *testing.T) {
	found := sourceCodes(t, "../../rules")
	require.Greater(t, len(found), 20, "the rules name their codes in a way that this test no longer sees")
	for _, f := range found {
		ok := false
		switch f.kind {
		case "Reason":
			_, ok = english.reasons[f.code]
		case "Refused":
			_, ok = english.refused[f.code]
		case "Finding":
			_, ok = english.findings[f.code]
		case "Alarm":
			_, ok = english.alarms[f.code]
		}
		if !ok {
			t.Errorf("%s: the code %q of a %s has no sentence: add one in english.go", f.at, f.code, f.kind)
		}
	}
}

type sourceCode struct{ kind, code, at string }

// sourceCodes finds Code: "…" of logbook.Finding and logbook.Reason, Alarm: "…"
// of logbook.Alarm, refuse(e, "…", …), and the constants of package gate and of
// alarm names.
func sourceCodes(t *testing.T, root string) (found []sourceCode) {
	fset := token.NewFileSet()
	add := func(kind string, e ast.Expr) {
		if lit, ok := e.(*ast.BasicLit); ok && lit.Kind == token.STRING {
			code, err := strconv.Unquote(lit.Value)
			require.NoError(t, err)
			found = append(found, sourceCode{kind, code, fset.Position(lit.Pos()).String()})
		}
	}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		file, err := parser.ParseFile(fset, path, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		ast.Inspect(file, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.CompositeLit:
				inLiteral(n, add)
			case *ast.CallExpr:
				if f, ok := n.Fun.(*ast.SelectorExpr); ok && f.Sel.Name == "refuse" && len(n.Args) > 1 {
					add("Refused", n.Args[1])
				}
			case *ast.ValueSpec:
				inConstant(file.Name.Name, n, add)
			}
			return true
		})
		return nil
	})
	require.NoError(t, err)
	return found
}

func inLiteral(n *ast.CompositeLit, add func(string, ast.Expr)) {
	kind, ok := n.Type.(*ast.SelectorExpr)
	if !ok {
		return
	}
	for _, el := range n.Elts {
		kv, ok := el.(*ast.KeyValueExpr)
		if !ok {
			continue
		}
		key, _ := kv.Key.(*ast.Ident)
		switch {
		case key == nil:
		case key.Name == "Code" && (kind.Sel.Name == "Finding" || kind.Sel.Name == "Reason" || kind.Sel.Name == "Refused"):
			add(kind.Sel.Name, kv.Value)
		case key.Name == "Alarm" && kind.Sel.Name == "Alarm":
			add("Alarm", kv.Value)
		}
	}
}

func inConstant(pkg string, n *ast.ValueSpec, add func(string, ast.Expr)) {
	for i, name := range n.Names {
		switch {
		case i >= len(n.Values):
		case pkg == "gate" && ast.IsExported(name.Name):
			add("Reason", n.Values[i])
		case pkg == "alarm" && ast.IsExported(name.Name) && !strings.HasPrefix(name.Name, "Code"):
			add("Alarm", n.Values[i])
		}
	}
}
