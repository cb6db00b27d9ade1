package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strconv"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/rules"
	"undersheet/rules/dose"
	"undersheet/rules/efficacy"
)

//go:embed report.html
var page string

// WriteHTML writes the report as one self-contained page that prints on A4.
func (r *Report) WriteHTML(w io.Writer) error {
	zone := r.zone()
	t, err := template.New("report").Funcs(template.FuncMap{
		"time": func(t logbook.Time) string {
			if t == 0 {
				return "—"
			}
			return t.Std().In(zone).Format("2006-01-02 15:04")
		},
		"utc":     func(t logbook.Time) string { return t.String() },
		"ppm":     func(v any) string { return plain(number(v)) },
		"pct":     func(v any) string { return fmt.Sprintf("%.0f %%", 100*number(v)) },
		"hours":   func(a, b logbook.Time) string { return fmt.Sprintf("%.1f", a.Hours(b)) },
		"per":     per,
		"apart":   func(p HandPair) string { return fmt.Sprintf("%.0f min", apart(p.Fixed.At, p.Act.At).Minutes()) },
		"share":   func(p HandPair) string { return share(p.PPM, p.Fixed.PPM) },
		"alarm":   func(a logbook.Alarm) string { h, _ := words.Alarm("en", &a); return h },
		"reason":  func(x logbook.Reason) string { return words.Reason("en", x) },
		"text":    fill,
		"verdict": func(k rules.StackView) string { return words.Verdict("en", k.Verdict, len(k.Lines)) },
		"stands":  criterion,
		"about":   about,
		"asks":    asks,
		"result":  func(r string) string { return results[r] },
		"source":  source,
		"next":    func(i int) int { return i + 1 },
	}).Parse(page)
	if err != nil {
		return fmt.Errorf("read report page: %w", err)
	}
	curves, err := r.curves()
	if err != nil {
		return err
	}
	airing, err := r.airing()
	if err != nil {
		return err
	}
	density, listed := dose.KernelDensity(r.Given.Commodity)
	if err := t.Execute(w, map[string]any{"R": r, "Zone": zone.String(), "Curves": template.HTML(curves), "Airing": template.HTML(airing),
		"GasSpace": r.gasSpace(), "Density": density, "Listed": listed, "Running": r.running(), "CriteriaSource": efficacy.CriteriaSource}); err != nil {
		return fmt.Errorf("write report page: %w", err)
	}
	return nil
}

// zone returns the site's time zone; UTC where it has none that is the same on
// every machine.
func (r *Report) zone() *time.Location {
	zone, err := time.LoadLocation(r.Site.Timezone)
	if err != nil || r.Site.Timezone == "Local" {
		return time.UTC
	}
	return zone
}

// running says in words that the treatment is not over; empty when it is.
func (r *Report) running() string {
	switch r.Stack.Phase {
	case logbook.PhaseClosed:
		return ""
	case logbook.PhaseExposure, logbook.PhaseDosing:
		return "This treatment is not over: the stack is under gas. Figures are as far as they go."
	case logbook.PhaseAiring:
		return "This treatment is not over: the stack is being aired and the store is not cleared. Figures are as far as they go."
	}
	return "This treatment is not over: the stack is withheld. Figures are as far as they go."
}

func (r *Report) gasSpace() float64 {
	m3, _ := dose.GasSpace(r.Given.GasSpaceM3, r.Given.VolumeM3, r.Given.Tonnes, r.Given.Commodity)
	return m3
}

func number(v any) float64 {
	switch v := v.(type) {
	case float64:
		return v
	case logbook.Number:
		return float64(v)
	}
	return 0
}

// plain prints a figure as people read it: no more digits than it is worth, and
// no small figure as zero.
func plain(v float64) string {
	switch {
	case v == 0:
		return "0"
	case v >= 100:
		return strconv.FormatFloat(v, 'f', 0, 64)
	case v >= 10:
		return strconv.FormatFloat(v, 'f', 1, 64)
	case v >= 0.1, v < 0:
		return strconv.FormatFloat(v, 'f', 2, 64)
	case v >= 0.001:
		return strconv.FormatFloat(v, 'g', 2, 64)
	}
	return "under 0.001"
}

// per prints a share of a dose with its unit.
func per(grams, of float64, unit string) string {
	if !(of > 0) {
		return "g/" + unit + " not known"
	}
	return plain(grams/of) + " g/" + unit
}

// share prints a hand reading as a share of the fixed one.
func share(hand, fixed float64) string {
	if !(fixed > 0) {
		return "—"
	}
	return fmt.Sprintf("%.0f %%", 100*hand/fixed)
}

// fill returns the sentence of a finding or a refusal.
func fill(rec any) string {
	switch rec := rec.(type) {
	case logbook.Finding:
		words.Fill("en", &rec)
		return rec.Text
	case logbook.Refused:
		words.Fill("en", &rec)
		return rec.Why
	}
	return ""
}
