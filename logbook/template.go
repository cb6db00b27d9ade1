package logbook

import (
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Forms of a payload, as the site file names them.
const (
	PayloadNumber       = "number"        // one bare decimal number
	PayloadJSON         = "json"          // one value at a path
	PayloadSenML        = "senml"         // RFC 8428
	PayloadLineProtocol = "line-protocol" // points of measurement, tags, fields and a timestamp
)

// TagPart begins the part of a template that names a tag of line protocol, as
// in {tag:stack}.
const TagPart = "tag:"

// Template makes the name of a channel of fixed text, levels of the topic and
// parts of the payload: "{2}-{name}" for example. [MQTTSource.Template] reads one.
type Template struct {
	text  string
	parts []templatePart
}

// templatePart is a text, or what stands between braces when level or name is set.
type templatePart struct {
	text  string
	level int    // of the topic, from 1
	name  string // of a part of the payload
}

// Template reads s.Channel. Known between braces are a level of the topic ({1}
// is the first), and a part of the payload: {name} of SenML, {path} of JSON (what
// stands at channel_path), {measurement}, {field} and {tag:KEY} of line protocol.
// The error says which of these can not be there in a source like s; it does not
// name the field.
func (s MQTTSource) Template() (Template, error) {
	t := Template{text: s.Channel}
	if strings.TrimSpace(s.Channel) == "" {
		return t, errors.New("is missing: a channel, or a template such as {2}-{3} made of topic levels")
	}
	for rest := s.Channel; rest != ""; {
		text, after, open := strings.Cut(rest, "{")
		if strings.Contains(text, "}") {
			return t, errors.New("has a } without {")
		}
		t.add(templatePart{text: text})
		if !open {
			break
		}
		name, after, closed := strings.Cut(after, "}")
		if !closed || name == "" || strings.Contains(name, "{") {
			return t, errors.New("has a { without a name and }")
		}
		p, err := s.placeholder(name)
		if err != nil {
			return t, err
		}
		t.add(p)
		rest = after
	}
	return t, nil
}

// add adds p, joining texts that stand together.
func (t *Template) add(p templatePart) {
	switch n := len(t.parts); {
	case p == templatePart{}:
	case p.fixed() && n > 0 && t.parts[n-1].fixed():
		t.parts[n-1].text += p.text
	default:
		t.parts = append(t.parts, p)
	}
}

// fixed reports whether p is a text.
func (p templatePart) fixed() bool { return p.level == 0 && p.name == "" }

// placeholder reads what stands between braces. What s fixes, as the topic's
// levels without a wildcard, is a text.
func (s MQTTSource) placeholder(name string) (templatePart, error) {
	if strings.Trim(name, "0123456789") == "" {
		return s.topicLevel(name)
	}
	known := map[string][]string{
		PayloadSenML: {"name"}, PayloadJSON: {"path"}, PayloadLineProtocol: {"measurement", "field", TagPart + "KEY"},
	}[s.Payload]
	tag, isTag := strings.CutPrefix(name, TagPart)
	if !slices.Contains(known, name) && !(isTag && tag != "" && s.Payload == PayloadLineProtocol) {
		return templatePart{}, fmt.Errorf("has {%s}, but a payload of %s has no such part; known are topic levels {1}, {2}, …%s", name, s.Payload, braced(known))
	}
	if name == "path" && s.Name == "" {
		return templatePart{}, errors.New("has {path}, which needs channel_path, the path of the channel's name in the JSON object")
	}
	if name == "field" && s.Value != "" {
		return templatePart{text: s.Value}, nil
	}
	return templatePart{name: name}, nil
}

// topicLevel reads a number between braces.
func (s MQTTSource) topicLevel(digits string) (templatePart, error) {
	levels := strings.Split(s.Topic, "/")
	last := len(levels)
	n, err := strconv.Atoi(digits)
	if many := levels[last-1] == "#"; err != nil || n < 1 || n > last && !many {
		return templatePart{}, fmt.Errorf("has {%s}, but the topic has %d levels, counted from 1", digits, last)
	}
	if n <= last && levels[n-1] != "+" && levels[n-1] != "#" {
		return templatePart{text: levels[n-1]}, nil
	}
	return templatePart{level: n}, nil
}

// braced lists names as a template has them.
func braced(names []string) string {
	var b strings.Builder
	for _, n := range names {
		b.WriteString(" and {" + n + "}")
	}
	return b.String()
}

// String returns the template as it was written.
func (t Template) String() string { return t.text }

// Sure returns the one name that t makes, and false when it may make several.
func (t Template) Sure() (string, bool) {
	var b strings.Builder
	for _, p := range t.parts {
		if !p.fixed() {
			return "", false
		}
		b.WriteString(p.text)
	}
	return b.String(), true
}

// Fits reports whether t may make the name channel. It does not ask whether a
// part that stands twice is the same both times.
func (t Template) Fits(channel string) bool { return fits(t.parts, channel) }

// fits reports whether parts may make s: a part that is not fixed may be any text.
func fits(parts []templatePart, s string) bool {
	for i, p := range parts {
		if p.fixed() {
			rest, ok := strings.CutPrefix(s, p.text)
			if !ok {
				return false
			}
			s = rest
			continue
		}
		// The next text may stand at several places; the first will do unless it is
		// the last text, which stands at the end.
		next := slices.IndexFunc(parts[i:], templatePart.fixed)
		if next < 0 {
			return true
		}
		text := parts[i+next].text
		if i+next == len(parts)-1 {
			return strings.HasSuffix(s, text)
		}
		at := strings.Index(s, text)
		return at >= 0 && fits(parts[i+next+1:], s[at+len(text):])
	}
	return s == ""
}

// Fill returns the name that t makes of a message's topic and of the named parts
// of its payload; the error says what is missing.
func (t Template) Fill(topic string, parts map[string]string) (string, error) {
	levels := strings.Split(topic, "/")
	var b strings.Builder
	for _, p := range t.parts {
		switch {
		case p.fixed():
			b.WriteString(p.text)
		case p.level > len(levels):
			return "", fmt.Errorf("the channel's name needs topic level %d, the topic %q has %d", p.level, topic, len(levels))
		case p.level > 0:
			b.WriteString(levels[p.level-1])
		default:
			v, ok := parts[p.name]
			if !ok {
				return "", fmt.Errorf("the channel's name needs {%s}, which is not in the payload", p.name)
			}
			b.WriteString(v)
		}
	}
	return b.String(), nil
}
