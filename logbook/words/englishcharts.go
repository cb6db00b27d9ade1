package words

// englishCharts are what stands on the charts of a stack.
var englishCharts = map[string]string{
	"chart/hours":             "hours since t = 0",
	"chart/end-level":         "end level {level} ppm",
	"chart/all":               "What the lines of stack {stack} read",
	"chart/all-says":          "{count} lines, against the end level of {level} ppm.",
	"chart/line":              "Line {line} of stack {stack}",
	"chart/last":              "Last {value} ppm.",
	"chart/at-end":            "At the planned end {p50} ppm, with 90 % between {p05} and {p95}.",
	"chart/nothing-read":      "Nothing was read yet.",
	"chart/sheet":             "Stack {stack}, treatment {treatment}",
	"chart/drawn":             "t = 0: {start}. Drawn as of {now} ({zone}).",
	"chart/thick":             "Thick: fitted median of {line}, from now on the forecast, dashed; shaded: where the true concentration lies with 90 %.",
	"chart/numbers":           "Numbers: {events}",
	"chart/residuals":         "Readings less fit",
	"chart/of-fit":            "% of the fit",
	"chart/residuals-says":    "Hourly means of {count} lines; the axis reaches to ±{most} %.",
	"chart/residuals-caption": "Hourly means of each line, in per cent of its fit, by the letters of the lines. The fit is that of all readings up to now.",
	"chart/statistic":         "Leak test",
	"chart/threshold":         "threshold {threshold}",
	"chart/onset":             "onset",
	"chart/leak":              "leak",
	"chart/over":              "over",
	"chart/statistic-says":    "Statistic {value}, threshold {threshold}; {count} leaks were told.",
	"chart/statistic-caption": "S: all lines together. L: the line that stands out most from the others. Above the threshold a leak is told. Grey: where its onset lies, with 95 %; while a leak stands the test counts from the new rate, so that it falls back, and another leak is told only at another line, by more than the threshold. Gaps: the test was not running.",
}
