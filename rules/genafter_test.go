package rules

import (
	"time"

	"pgregory.net/rapid"

	"undersheet/logbook"
)

// afterwards makes an act on what follows a treatment.
func (g *script) afterwards(kind logbook.Kind, stack logbook.OnStack, by logbook.Act) logbook.Entry {
	named := rapid.SampledFrom([]string{"", "", "", "T-1", "T-2", "none"}).Draw(g.t, "of")
	insects := rapid.SampledFrom([]string{logbook.InsectsNone, logbook.InsectsNone, logbook.InsectsNone, logbook.InsectsLive}).Draw(g.t, "insects")
	switch kind {
	case logbook.KindCagesPlaced:
		return &logbook.CagesPlaced{OnStack: stack, Count: 14, Insects: "beetles", Act: by}
	case logbook.KindCagesRetrieved:
		return &logbook.CagesRetrieved{OnStack: stack, Treatment: named, Count: 13, Act: by}
	case logbook.KindCagesJudged:
		return &logbook.CagesJudged{OnStack: stack, Treatment: named, After: rapid.SampledFrom([]string{logbook.JudgedExposure, logbook.JudgedMonth}).Draw(g.t, "after"), Result: insects, Act: by}
	case logbook.KindSheetTorn:
		return &logbook.SheetTorn{OnStack: stack, Act: by}
	case logbook.KindSheetRepaired:
		return &logbook.SheetRepaired{OnStack: stack, Treatment: named, Found: "seam", Act: by}
	case logbook.KindWrittenOff:
		return &logbook.FollowUpWrittenOff{OnStack: stack, Treatment: named, FollowUp: rapid.SampledFrom(logbook.FollowUps[:10]).Draw(g.t, "follow-up"), Why: "gone", Act: someone}
	case logbook.KindGrainIssued:
		return &logbook.GrainIssued{OnStack: stack, Tonnes: 1, ClosedVehicle: true, Act: by}
	case logbook.KindResidueDisposed:
		return &logbook.ResidueDisposed{OnStack: stack, Product: tablets(g.n % 5), How: logbook.DisposedBuried, Where: "pit", Act: by}
	case logbook.KindCanister:
		return &logbook.CanisterChanged{Person: "I. Okafor", Serial: "7", Expires: logbook.Expiry(g.now.Add(90 * 24 * time.Hour).Std().Format(time.DateOnly)), Minutes: 30, Act: by}
	}
	return &logbook.GrainInspected{OnStack: stack, Treatment: named, Insects: insects, Method: "sieved", Act: by}
}
