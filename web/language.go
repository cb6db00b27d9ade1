package web

import (
	"cmp"
	"context"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"slices"

	"golang.org/x/text/language"

	"undersheet/logbook/words"
)

const (
	langParam  = "lang" // of a link that changes the language, and the cookie that remembers it
	langMaxAge = 365 * 24 * 3600
)

// tongue is a language that a reader may change to.
type tongue struct{ Code, Name, Path string }

// speech is the key of a request's language in its context.
type speech struct{}

// langOf returns the language of a request's reader.
func langOf(r *http.Request) string {
	if lang, ok := r.Context().Value(speech{}).(string); ok {
		return lang
	}
	return "en"
}

// spoken settles the language of every reader: the one that a link just asked for,
// which is remembered; else the one remembered; else the first that the browser
// prefers; else the depot's own.
func (p *site) spoken(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		lang, q := "", r.URL.Query()
		if asked := q.Get(langParam); slices.Contains(words.Languages(), asked) {
			lang = asked
			http.SetCookie(w, &http.Cookie{Name: langParam, Value: lang, Path: "/", MaxAge: langMaxAge, HttpOnly: true, SameSite: http.SameSiteLaxMode})
		} else if c, err := r.Cookie(langParam); err == nil && slices.Contains(words.Languages(), c.Value) {
			lang = c.Value
		} else {
			lang = p.preferred(r.Header.Get("Accept-Language"))
		}
		w.Header().Add("Vary", "Accept-Language, Cookie")
		r = r.WithContext(context.WithValue(r.Context(), speech{}, lang))
		if q.Has(langParam) { // take it out: the address of the page is the same in every language
			q.Del(langParam)
			u := *r.URL
			u.RawQuery, r.URL = q.Encode(), &u
		}
		next.ServeHTTP(w, r)
	})
}

// preferred is the first language of an Accept-Language header that there is, by weight
// and whatever its region; else the depot's.
func (p *site) preferred(accepted string) string {
	wanted, _, err := language.ParseAcceptLanguage(accepted)
	if err != nil {
		return p.ownLang()
	}
	for _, tag := range wanted {
		if base, _ := tag.Base(); slices.Contains(words.Languages(), base.String()) {
			return base.String()
		}
	}
	return p.ownLang()
}

// ownLang is the depot's language.
func (p *site) ownLang() string {
	if v := p.source.View(); p.opts.Lang == "" && v != nil {
		return v.Config.Speaks()
	}
	return cmp.Or(p.opts.Lang, "en")
}

// tongues are the languages there are, each with the way to this page in it.
func tongues(r *http.Request) []tongue {
	var all []tongue
	for _, code := range words.Languages() {
		q := r.URL.Query()
		q.Set(langParam, code)
		u := url.URL{Path: r.URL.Path, RawPath: r.URL.RawPath, RawQuery: q.Encode()}
		all = append(all, tongue{code, words.Text(code, "page/own-name"), u.String()})
	}
	return all
}

// refuse answers in one sentence, that of a key.
func refuse(w http.ResponseWriter, r *http.Request, status int, key string, pairs ...string) {
	http.Error(w, words.Text(langOf(r), key, pairs...), status)
}

// pages are the templates in each language, each with the layout around it; they
// never change. What they say stands in the catalogue: {{say "page/…" "{name}" value}}.
var pages = parsePages()

func parsePages() map[string]map[string]*template.Template {
	all := map[string]map[string]*template.Template{}
	for _, lang := range words.Languages() {
		say := func(key string, pairs ...any) string { return words.Text(lang, key, printed(pairs)...) }
		all[lang] = map[string]*template.Template{}
		for _, name := range []string{"depot", "store", "stack", "alarms", "due", "instruments", "logbook", "entry", "acts", "act", "answer", "plan", "photo", "missing"} {
			all[lang][name] = template.Must(template.New(name).Funcs(template.FuncMap{"say": say}).
				ParseFS(embedded, "assets/layout.html", "assets/parts.html", "assets/"+name+".html"))
		}
	}
	return all
}

// printed writes values as text.
func printed(values []any) []string {
	var all []string
	for _, v := range values {
		all = append(all, fmt.Sprint(v))
	}
	return all
}
