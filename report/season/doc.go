// Package season sums up what the treatments of a depot came to over a season: how
// many held, where sheets lose gas and leak again, what was dosed and what is in
// stock, days lost, forecasts against what came, and alarms. Everything comes from the
// logbook alone.
//
// [Make] folds a log, entry by entry, and keeps figures, not readings; [Season.Document]
// is what goes on paper or a page, [Season.WriteCSV] the same figures as a table. The
// same entries give the same bytes.
//
// It judges nothing. A treatment belongs to the season in which its sheet was shut
// (t = 0), or its dosing began where it never was, and is told to its end as the log
// knows it. A figure that rests on few treatments says so by its interval.
package season
