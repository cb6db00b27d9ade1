package configs

import (
	"math"
	"reflect"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/goccy/go-yaml/ast"
)

// scalar fills a text, a number or a truth value.
func (t *tree) scalar(node ast.Node, v reflect.Value, path string) {
	got := node.GetToken().Value
	switch v.Kind() {
	case reflect.String:
		if s, ok := textOf(node); !ok {
			t.fault(path, nil, "wants text: write it in quotes (\"%s\")", short(got))
		} else if strings.TrimSpace(s) != s || s == "" {
			t.fault(path, s, "is empty or begins or ends with a space: fill it in or leave the key out")
		} else if !printable(s) {
			t.fault(path, s, "holds a line break or another control character: write one plain line")
		} else {
			v.SetString(s)
		}
	case reflect.Bool:
		if b, ok := node.(*ast.BoolNode); ok {
			v.SetBool(b.Value)
		} else {
			t.fault(path, got, "wants true or false")
		}
	case reflect.Float64:
		if f, ok := numberOf(node); ok {
			v.SetFloat(f)
			t.notZero(f == 0, path)
		} else {
			t.fault(path, got, "wants a plain number, for example 150 or 0.05")
		}
	case reflect.Int:
		if f, ok := numberOf(node); ok && f == math.Trunc(f) && math.Abs(f) < 1<<31 {
			v.SetInt(int64(f))
			t.notZero(f == 0, path)
		} else {
			t.fault(path, got, "wants a whole number")
		}
	default:
		t.fault(path, nil, "cannot be read: tell the makers of undersheet that %s has no reader", v.Kind())
	}
}

// mayBeZero are the keys where 0 says something other than "the default".
var mayBeZero = map[string]bool{"zero_error": true, "register": true, "offset": true, "retries": true}

// notZero refuses an explicit 0 where it would silently become a default.
func (t *tree) notZero(zero bool, path string) {
	if zero && !mayBeZero[path[strings.LastIndexByte(path, '.')+1:]] {
		t.fault(path, 0, "0 would mean the default: write the true figure or leave the key out")
	}
}

// textOf returns the text of a node, and false when it holds none.
func textOf(node ast.Node) (string, bool) {
	switch n := node.(type) {
	case *ast.StringNode:
		return n.Value, true
	case *ast.LiteralNode:
		return strings.TrimSuffix(n.Value.Value, "\n"), true
	}
	return "", false
}

// numberOf returns a finite number. A leading zero is refused: YAML reads 010 as 8.
func numberOf(node ast.Node) (float64, bool) {
	var f float64
	switch n := node.(type) {
	case *ast.IntegerNode:
		digits := strings.TrimLeft(n.Token.Value, "+-")
		if len(digits) > 1 && digits[0] == '0' && digits[1] != 'x' {
			return 0, false
		}
		switch i := n.Value.(type) {
		case int64:
			f = float64(i)
		case uint64:
			f = float64(i)
		default:
			return 0, false
		}
	case *ast.FloatNode:
		f = n.Value
	default:
		return 0, false
	}
	return f, !math.IsNaN(f) && !math.IsInf(f, 0)
}

// printable reports whether s can stand in a name, a mail header and a page:
// no control characters, no line or paragraph separators.
func printable(s string) bool {
	return strings.IndexFunc(s, func(r rune) bool {
		return unicode.IsControl(r) || r == '\u2028' || r == '\u2029' || r == utf8.RuneError
	}) < 0
}
