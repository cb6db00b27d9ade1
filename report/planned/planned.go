// Package planned puts a plan on paper: one page that prints on A4, with the plan,
// the checks to sign, a sign for every entrance and an emergency card; and as text.
//
// [Sheet] is what is printed. Every figure stands beside its source. The page says
// what the plan says and what is owed; it never says that a treatment may begin.
package planned

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"undersheet/logbook"
	"undersheet/logbook/words"
	"undersheet/report/chart"
	"undersheet/rules/plan"
)

//go:embed planned.html
var page string

// Sheet is a plan and what goes on paper with it.
type Sheet struct {
	Plan        *plan.Plan
	Site        string
	Zone        *time.Location // nil = UTC
	Lang        string
	Responsible string // person in charge; empty prints a line to fill in
	Phone       string
	Hospital    string
	Poison      string // poison centre
	Entrances   int    // signs to print; 0 = 1
}

// WriteHTML writes one self-contained page.
func (s *Sheet) WriteHTML(w io.Writer) error {
	t, err := template.New("plan").Funcs(template.FuncMap{
		"word": func(code string) string { return words.Plan(s.Lang, code, "", 0) },
		"say":  s.say, "num": num, "time": s.time,
		"pct":   func(p float64) string { return words.Chance(s.Lang, p) },
		"or":    func(v, blank string) string { return orBlank(v, blank) },
		"signs": func() []int { return make([]int, max(s.Entrances, 1)) },
		"chart": s.chart, "letter": func(k int) string { return string(rune('A' + k)) }, "unit": unit,
	}).Parse(page)
	if err != nil {
		return fmt.Errorf("read plan page: %w", err)
	}
	if err := t.Execute(w, s); err != nil {
		return fmt.Errorf("write plan page: %w", err)
	}
	return nil
}

// WriteText writes the plan for a terminal.
func (s *Sheet) WriteText(w io.Writer) error {
	var b strings.Builder
	p := s.Plan
	fmt.Fprintf(&b, "Plan for %s%s\n\n", orBlank(p.Store, "a store"), map[bool]string{true: ", outdoors"}[p.Outdoors])
	fmt.Fprintf(&b, "Protocol %s\n", p.Protocol)
	s.figures(&b, p.Figures)
	if t := p.Times; t != nil && t.AirFrom != 0 {
		fmt.Fprintf(&b, "  Sheet shut %s; exposure over %s; open by daylight from %s to %s at the latest\n", s.time(t.Shut), s.time(t.End), s.time(t.AirFrom), s.time(t.AirLatest))
	}
	s.says(&b, p.Says)
	fmt.Fprintf(&b, "  note: %s\n", words.Plan(s.Lang, "law-may-add", "", 0))
	for i := range p.Stacks {
		sp := &p.Stacks[i]
		fmt.Fprintf(&b, "\nStack %s, %s\n", orBlank(sp.Name, "(no name)"), sp.Commodity)
		s.figures(&b, sp.Figures)
		for j, l := range sp.Lines {
			fmt.Fprintf(&b, "  Sampling line %d\t%s\n", j+1, words.Plan(s.Lang, l, "", 0))
		}
		for _, c := range sp.Courses {
			fmt.Fprintf(&b, "  Under a%s %s\tat the end %s ppm (%s to %s), chance to hold the end level %s\tloses %s a day, %s\n", map[bool]string{true: "n"}[c.Sheet == "average"],
				words.Plan(s.Lang, c.Sheet, "", 0), num(c.P50), num(c.P05), num(c.P95), words.Chance(s.Lang, c.Chance), num(c.LossPerDay), plan.SheetSource)
		}
		s.says(&b, sp.Says)
	}
	b.WriteString("\nChecks to sign before dosing\n")
	for _, c := range p.Checks {
		fmt.Fprintf(&b, "  [ ] %s\n", words.Plan(s.Lang, c, "", 0))
	}
	b.WriteString("\n" + words.Plan(s.Lang, "caution", "", 0) + "\n")
	tw := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	if _, err := io.WriteString(tw, b.String()); err != nil {
		return err
	}
	return tw.Flush()
}

func (s *Sheet) figures(b *strings.Builder, fs []plan.Figure) {
	for _, f := range fs {
		fmt.Fprintf(b, "  %s\t%s\t(%s)\n", words.Plan(s.Lang, f.Code, "", 0), strings.TrimSpace(num(f.Value)+" "+unit(f.Unit)), f.Source)
	}
}

func (s *Sheet) says(b *strings.Builder, says []plan.Say) {
	for _, x := range says {
		mark := "note"
		if x.Stops {
			mark = "STOP"
		}
		fmt.Fprintf(b, "  %s: %s\n", mark, s.say(x))
	}
}

// say is the sentence of what the plan says, with its source.
func (s *Sheet) say(x plan.Say) string {
	text := words.Plan(s.Lang, x.Code, x.About, x.Value)
	if x.Source != "" {
		text += " (" + x.Source + ")"
	}
	return text
}

// time writes a moment by the clock of the depot.
func (s *Sheet) time(t logbook.Time) string {
	zone := s.Zone
	if zone == nil {
		zone = time.UTC
	}
	return t.Std().In(zone).Format("Mon 2 January 2006 15:04")
}

// chart draws what the gas is expected to do under the three sheets.
func (s *Sheet) chart(i int) (template.HTML, error) {
	sp := &s.Plan.Stacks[i]
	c := chart.Chart{ID: "course-" + strconv.Itoa(i), Title: "Expected concentration of the lowest line", XLabel: "hours since the sheet is shut", YLabel: "ppm", Width: 720, Height: 280,
		Summary: "Expected concentration under a tight, an average and a leaky sheet, and the end level.",
		Levels:  []chart.Level{{Name: "end level", Y: s.Plan.EndLevelPPM}}, XMax: s.Plan.Hours}
	for k, course := range sp.Courses {
		var points []chart.Point
		for j, h := range course.Hours {
			points = append(points, chart.Point{X: h, Y: course.PPM[j]})
		}
		c.Series = append(c.Series, chart.Series{Key: string(rune('A' + k)), Points: points, Dash: k})
	}
	var b strings.Builder
	if err := c.WriteSVG(&b); err != nil {
		return "", fmt.Errorf("draw %s: %w", c.Title, err)
	}
	return template.HTML(b.String()), nil
}

// orBlank returns v, or what stands for it where it is empty.
func orBlank(v, blank string) string {
	if v == "" {
		return blank
	}
	return v
}

// num writes a figure with three digits and no exponent.
func num(v float64) string {
	digits := 3
	if v >= 1000 {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	r, _ := strconv.ParseFloat(strconv.FormatFloat(v, 'g', digits, 64), 64)
	return strconv.FormatFloat(r, 'f', -1, 64)
}

// unit writes a unit for people.
func unit(u string) string { return strings.NewReplacer("m2", "m²", "m3", "m³").Replace(u) }
