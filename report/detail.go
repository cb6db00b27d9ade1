package report

import (
	"fmt"
	"strings"

	"undersheet/logbook"
)

// detail says in words what an act carries beside person, time and place.
func detail(e logbook.Acting) string {
	switch e := e.(type) {
	case *logbook.TreatmentStarted:
		return fmt.Sprintf("%s, %s, %g t, %g g phosphine, grain at %g °C", e.Protocol, e.Commodity, e.Tonnes, e.PhosphineG, e.GrainTempC)
	case *logbook.DosingStarted:
		if e.StoreEmpty {
			return "store empty"
		}
		return "store not stated empty"
	case *logbook.DoseAdded:
		return fmt.Sprintf("%g g phosphine", e.PhosphineG)
	case *logbook.ExposureExtended:
		return fmt.Sprintf("to %g h", e.ExposureHours)
	case *logbook.AiringStarted:
		return e.Early
	case *logbook.GrainInspected:
		return fmt.Sprintf("live insects: %s, by %s", strings.ReplaceAll(e.Insects, "-", " "), e.Method)
	case *logbook.TreatmentAbandoned:
		return e.Why
	case *logbook.HandReading:
		limit := "detection limit not stated"
		if e.DetectionLimit != nil {
			limit = fmt.Sprintf("detection limit %g %s", *e.DetectionLimit, e.Unit)
		}
		return fmt.Sprintf("%s: %g %s by %s, %s", strings.TrimSpace(e.Point+e.Line), e.Value, e.Unit, e.Method, limit)
	case *logbook.MaskedEntry:
		return fmt.Sprintf("%s in, %s at the door, %s", e.In, e.AtDoor, e.Protection)
	case *logbook.MaskedExit:
		return e.Out
	case *logbook.DosePlaced:
		return fmt.Sprintf("%d %s in %d places by %s, %s", e.Count, e.Form, e.Places, strings.Join(e.People, ", "), e.Protection)
	case *logbook.ResidueTaken:
		return strings.TrimSpace(fmt.Sprintf("%d %s, %s %s", e.Count, e.Form, e.Residue, e.ShownBy))
	case *logbook.ResidueDisposed:
		return strings.TrimSpace(fmt.Sprintf("%d %s, %s, %s %s", e.Count, e.Form, e.How, e.Where, e.To))
	case *logbook.ChecksSigned:
		return fmt.Sprintf("%d in order, %d wanting: %s", len(e.InOrder), len(e.Wanting), strings.Join(e.Wanting, ", "))
	}
	return ""
}
