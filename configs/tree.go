package configs

import (
	"bytes"
	"encoding"
	"errors"
	"fmt"
	"reflect"
	"sort"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

// tree fills Go values from a YAML tree and remembers where each value stands.
// It does by hand what the library's decoder does, for one reason: the decoder
// stops at the first fault, and a person who mends a site file wants them all.
type tree struct {
	name     string
	readable bool                 // the YAML could be parsed
	at       map[string]placement // by path
	broken   map[string]bool      // paths of values that could not be taken
	faults   []Remark
}

// placement is where a value stands.
type placement struct{ line, column int }

// newTree returns the tree of a file that was not read yet; name stands in what is said of it.
func newTree(name string) *tree {
	return &tree{name: name, at: map[string]placement{"": {1, 1}}, broken: map[string]bool{}}
}

// read parses text into the struct that into points to.
func (t *tree) read(text []byte, into any) {
	if len(text) > maxSize {
		t.fault("", nil, "the file is larger than %d bytes: a site file is never that large", maxSize)
		return
	}
	text = bytes.TrimPrefix(text, []byte("\uFEFF")) // some editors begin every file with one
	if !utf8.Valid(text) {
		t.fault("", nil, "the file is not UTF-8 text: save it as UTF-8")
		return
	}
	file, err := parser.ParseBytes(text, 0, parser.AllowDuplicateMapKey())
	if err != nil {
		t.syntax(err)
		return
	}
	body := t.body(file)
	if body == nil {
		return
	}
	t.readable = true
	t.fill(body, reflect.ValueOf(into).Elem(), "")
}

// syntax notes what the parser could not read.
func (t *tree) syntax(err error) {
	var ye yaml.Error
	if errors.As(err, &ye) && ye.GetToken() != nil {
		t.place("", ye.GetToken())
		what := ye.GetMessage()
		if strings.Contains(what, "'\t'") {
			what += " (a tab): indent with spaces"
		}
		t.fault("", nil, "not valid YAML: %s", what)
		return
	}
	t.fault("", nil, "not valid YAML: %s", strings.TrimSpace(err.Error()))
}

// body returns the only document's content, or nil with a fault.
func (t *tree) body(file *ast.File) ast.Node {
	var body ast.Node
	for _, d := range file.Docs {
		if d == nil || d.Body == nil {
			continue
		}
		if _, ok := d.Body.(*ast.DirectiveNode); ok || body != nil {
			t.place("", d.Body.GetToken())
			t.fault("", nil, "a site file is one YAML document without directives")
			return nil
		}
		body = d.Body
	}
	if body == nil {
		t.fault("", nil, "the file is empty: undersheet check --example prints a site file to start from")
	}
	return body
}

// fault notes a fault at the value of path, or where it should stand.
func (t *tree) fault(path string, got any, rule string, args ...any) {
	t.faults = append(t.faults, t.remark(path, got, rule, args...))
	t.broken[path] = true
}

// remark makes a Remark about path. Got is what stands there; nil for nothing.
// What stands at a key that names an environment variable is never shown: it may
// be the secret itself, written in the wrong place.
func (t *tree) remark(path string, got any, rule string, args ...any) Remark {
	p := t.find(path)
	for i, a := range args {
		if d, ok := a.(time.Duration); ok {
			args[i] = span(d)
		}
	}
	r := Remark{File: t.name, Line: p.line, Column: p.column, Path: path, Rule: fmt.Sprintf(rule, args...)}
	if strings.HasSuffix(path, "_env") {
		got = nil
	}
	switch g := got.(type) {
	case nil:
	case string:
		r.Got = fmt.Sprintf("%q", short(g))
	case time.Duration:
		r.Got = span(g)
	default:
		r.Got = fmt.Sprint(g)
	}
	return r
}

// span writes a duration as site files do, without what is none: "48h", "1h30m".
func span(d time.Duration) string {
	s := d.String()
	for _, none := range []string{"m0s", "h0m"} {
		if strings.HasSuffix(s, none) {
			s = s[:len(s)-2]
		}
	}
	return s
}

// short returns the first 60 characters of s.
func short(s string) string {
	if r := []rune(s); len(r) > 60 {
		return string(r[:60]) + "…"
	}
	return s
}

// find returns the place of path, or of the nearest value that holds it.
func (t *tree) find(path string) placement {
	for {
		if p, ok := t.at[path]; ok {
			return p
		}
		path = parent(path)
	}
}

// parent cuts the last step off a path.
func parent(path string) string {
	if i := strings.LastIndexAny(path, ".["); i >= 0 {
		return path[:i]
	}
	return ""
}

// given reports whether the file holds a value at path.
func (t *tree) given(path string) bool { _, ok := t.at[path]; return ok }

// unread reports whether path or what holds it already has a fault.
func (t *tree) unread(path string) bool {
	for path != "" {
		if t.broken[path] {
			return true
		}
		path = parent(path)
	}
	return false
}

// place notes where the value at path stands.
func (t *tree) place(path string, tok *token.Token) {
	if tok != nil && tok.Position != nil {
		t.at[path] = placement{max(1, tok.Position.Line), max(1, tok.Position.Column)}
	}
}

// join appends a key to a path; a key that looks like a path itself is quoted.
func join(path, key string) string {
	if strings.ContainsAny(key, ".[]\"") {
		key = fmt.Sprintf("%q", key)
	}
	if path == "" {
		return key
	}
	return path + "." + key
}

// fill puts node into v. Null leaves v as it is where v can be absent.
func (t *tree) fill(node ast.Node, v reflect.Value, path string) {
	switch n := node.(type) {
	case *ast.AnchorNode, *ast.AliasNode, *ast.TagNode:
		t.place(path, n.GetToken())
		t.fault(path, nil, "anchors, aliases and tags are not used in site files: write the value out")
		return
	case *ast.NullNode:
		if k := v.Kind(); k != reflect.Pointer && k != reflect.Slice && k != reflect.Map || v.Type() == floatPointer {
			t.place(path, n.GetToken())
			t.fault(path, nil, "has no value: fill it in or leave the key out")
		}
		return
	}
	if d, ok := v.Addr().Interface().(encoding.TextUnmarshaler); ok {
		t.text(node, d, path)
		return
	}
	switch v.Kind() {
	case reflect.Pointer:
		p := reflect.New(v.Type().Elem())
		v.Set(p)
		t.fill(node, p.Elem(), path)
	case reflect.Struct, reflect.Map:
		t.mapping(node, v, path)
	case reflect.Slice:
		t.sequence(node, v, path)
	default:
		t.place(path, node.GetToken())
		t.scalar(node, v, path)
	}
}

var floatPointer = reflect.TypeFor[*float64]()

// text takes values that have a written form of their own: durations.
func (t *tree) text(node ast.Node, d encoding.TextUnmarshaler, path string) {
	t.place(path, node.GetToken())
	s, ok := node.(*ast.StringNode)
	if !ok {
		t.fault(path, node.GetToken().Value, "wants a duration: a number with its unit, for example 90s, 10m or 2h")
		return
	}
	if err := d.UnmarshalText([]byte(s.Value)); err != nil {
		t.fault(path, s.Value, "is no duration: want a number with its unit, for example 90s, 10m or 2h")
		return
	}
	if reflect.ValueOf(d).Elem().IsZero() {
		t.fault(path, s.Value, "0 would mean the default: leave the key out")
	}
}

// mapping fills a struct or a map with text keys.
func (t *tree) mapping(node ast.Node, v reflect.Value, path string) {
	m, ok := node.(ast.MapNode)
	if !ok {
		t.place(path, node.GetToken())
		t.fault(path, node.GetToken().Value, "wants keys with values (key: value)")
		return
	}
	if v.Kind() == reflect.Map && v.IsNil() {
		v.Set(reflect.MakeMap(v.Type()))
	}
	fields := fieldsOf(v)
	seen := map[string]placement{}
	for it := m.MapRange(); it.Next(); {
		key, ok := t.key(it.Key(), path)
		if !ok {
			continue
		}
		at := join(path, key)
		if first, twice := seen[key]; twice {
			t.twice(it.Key(), at, first)
			continue
		}
		t.place(at, it.Key().GetToken())
		seen[key] = t.at[at]
		t.member(it.Value(), v, fields, key, at)
	}
}

// twice notes a key that stands a second time in the same mapping.
func (t *tree) twice(key ast.Node, at string, first placement) {
	kept := t.at[at]
	t.place(at, key.GetToken())
	t.fault(at, nil, "this name stands twice: first in line %d", first.line)
	t.at[at] = kept
}

// member fills one field of a struct or one entry of a map.
func (t *tree) member(node ast.Node, v reflect.Value, fields map[string]reflect.Value, key, at string) {
	if v.Kind() == reflect.Map {
		e := reflect.New(v.Type().Elem()).Elem()
		if _, null := node.(*ast.NullNode); !null {
			t.fill(node, e, at)
		}
		v.SetMapIndex(reflect.ValueOf(key), e)
		return
	}
	f, known := fields[key]
	switch {
	case known:
		t.fill(node, f, at)
	case secretWord(key):
		t.fault(at, nil, "secrets never stand in a site file: name an environment variable or a file (%s)", strings.Join(secretKeys(fields), ", "))
	default:
		t.fault(at, nil, "unknown key; known here: %s%s", strings.Join(sortedKeys(fields), ", "), meant(key, sortedKeys(fields)))
	}
}

// key returns the text of a mapping's key.
func (t *tree) key(n ast.MapKeyNode, path string) (string, bool) {
	s, ok := n.(*ast.StringNode)
	if ok && s.Value != "" && printable(s.Value) {
		return s.Value, true
	}
	at := join(path, n.GetToken().Value)
	t.place(at, n.GetToken())
	if n.IsMergeKey() {
		t.fault(at, nil, "merge keys are not used in site files: write the values out")
	} else {
		t.fault(at, nil, "a key must be text without control characters: write it in quotes (\"7\")")
	}
	return "", false
}

// sequence fills a list.
func (t *tree) sequence(node ast.Node, v reflect.Value, path string) {
	s, ok := node.(*ast.SequenceNode)
	if !ok {
		t.place(path, node.GetToken())
		t.fault(path, node.GetToken().Value, "wants a list: each item on its own line after \"- \", or [a, b]")
		return
	}
	v.Set(reflect.MakeSlice(v.Type(), len(s.Values), len(s.Values)))
	for i, item := range s.Values {
		at := fmt.Sprintf("%s[%d]", path, i)
		t.place(at, firstToken(item))
		t.fill(item, v.Index(i), at)
	}
}

// firstToken returns the token at which a list's item begins to say something.
func firstToken(n ast.Node) *token.Token {
	if m, ok := n.(*ast.MappingNode); ok && !m.IsFlowStyle && len(m.Values) > 0 {
		return m.Values[0].Key.GetToken()
	}
	return n.GetToken()
}

// fieldsOf returns the fields of a struct by their YAML key; nil for a map.
func fieldsOf(v reflect.Value) map[string]reflect.Value {
	if v.Kind() != reflect.Struct {
		return nil
	}
	fields := map[string]reflect.Value{}
	for i := range v.NumField() {
		if key := v.Type().Field(i).Tag.Get("yaml"); key != "" && key != "-" {
			fields[key] = v.Field(i)
		}
	}
	return fields
}

// sortedKeys returns the keys of m, sorted.
func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

// secretWord reports whether an unknown key looks like a place for a secret.
func secretWord(key string) bool {
	k := strings.ToLower(key)
	for _, w := range []string{"pass", "pwd", "secret", "token", "credential", "user", "login"} {
		if strings.Contains(k, w) {
			return true
		}
	}
	return k == "pin" || k == "puk"
}

// secretKeys returns the keys among fields that name where a secret is kept.
func secretKeys(fields map[string]reflect.Value) []string {
	var keys []string
	for _, k := range sortedKeys(fields) {
		if strings.HasSuffix(k, "_env") || strings.HasSuffix(k, "_file") {
			keys = append(keys, k)
		}
	}
	if keys == nil {
		keys = []string{"the keys ending in _env and _file of mail and mqtt"}
	}
	return keys
}
