package gate

import (
	"slices"

	"undersheet/logbook"
)

// Codes of reasons, in the order in which conditions are looked at.
const (
	CatchingUp     = "catching-up"
	ClockBehind    = "clock-behind"
	NoSite         = "no-site"
	Dosing         = "dosing"
	UnderGas       = "under-gas"
	Inside         = "inside-by-masked-entry"
	NoClearance    = "no-clearance-on-record"
	RestoredLog    = "restored-logbook"
	AiringPaused   = "airing-paused"
	AiringTooShort = "airing-too-short"
	NoPoints       = "no-gate-air-points"
	NoReading      = "point-no-reading"
	PointSilent    = "point-silent"
	ClockAhead     = "point-clock-ahead"
	AdjoiningGas   = "adjoining-under-gas"
	CheckAfterOver = "check-after-over-range"
	CheckAfterSwap = "check-after-swap"
	CheckFailed    = "check-failed"
	CheckOverdue   = "check-overdue"
	PumpOff        = "pump-off"
	PumpNotKnown   = "pump-not-known"
	OverRange      = "point-over-range"
	PointStuck     = "point-stuck"
	PointFault     = "point-fault"
	BelowZero      = "point-below-zero"
	TooCoarse      = "detection-limit-too-high"
	AboveLimit     = "air-above-limit"
	NotBelowLong   = "air-not-below-long-enough"
	HandAbove      = "hand-reading-above-limit"
	HandOwed       = "hand-reading-owed"
	HandTooCoarse  = "hand-reading-too-coarse"
	HandTooOld     = "hand-reading-too-old"
	Lapsed         = "confirmation-lapsed"
	ConfirmOwed    = "confirmation-owed"
)

// Codes of reasons for which the watch shows every gate shut, whatever is decided here:
// it cannot vouch for what it would show.
const (
	NoEntries      = "no-entries"      // nothing new is written to the logbook, not even that time passes
	LogbookFailing = "logbook-failing" // records, or readings, cannot be written to it
	FoldStalled    = "fold-stalled"    // an entry is being folded, or committed, for too long
	FoldFailed     = "fold-failed"     // an entry cannot be folded
	WatchStopped   = "watch-stopped"   // the watch has ended
)

// GasSeen reports whether one of the reasons is that gas was read in the store's air. For a
// clearance that falls then there is the alarm gate-rebound.
func GasSeen(reasons []logbook.Reason) bool {
	return slices.ContainsFunc(reasons, func(r logbook.Reason) bool {
		return r.Code == AboveLimit || r.Code == HandAbove || r.Code == OverRange
	})
}
