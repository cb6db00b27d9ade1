package rules

import (
	"math"

	"undersheet/logbook"
	"undersheet/rules/dose"
	"undersheet/rules/gas"
	"undersheet/rules/protocol"
)

// startFindings notes what in a treatment's start breaks a rule or good practice.
func (s *State) startFindings(e *logbook.TreatmentStarted, k *Stack, p logbook.Protocol, known bool) {
	note := func(when bool, f logbook.Finding) {
		if when {
			f.Store, f.Stack = k.Store, e.Stack
			s.find(f)
		}
	}
	list := dose.UnsuitedList
	if len(s.Site.Unsuited) > 0 {
		list = s.Site.Unsuited
	}
	unsuited := dose.Unsuited(list, e.Commodity)
	t := k.Treatment
	note(!known, logbook.Finding{Code: "unknown-protocol", About: e.Protocol, Value: logbook.Number(p.Hours), Limit: logbook.Number(p.EndLevel)})
	note(t == nil || t.Phase != logbook.PhaseDosing, logbook.Finding{Code: "dosing-not-recorded"})
	note(s.Treatments[e.Treatment] > 0, logbook.Finding{Code: "duplicate-treatment", About: e.Treatment})
	note(unsuited != "", logbook.Finding{Code: "commodity-unsuited", About: e.Commodity})
	note(e.ExposureHours > 0 && e.ExposureHours < p.Hours, logbook.Finding{Code: "exposure-shorter-than-protocol",
		Value: logbook.Number(e.ExposureHours), Limit: logbook.Number(p.Hours)})
	note(e.PhosphineG == 0, logbook.Finding{Code: "dose-missing"})
	note(e.VolumeM3 == 0 && e.GasSpaceM3 == 0, logbook.Finding{Code: "volume-missing"})
	space, told := dose.GasSpace(e.GasSpaceM3, e.VolumeM3, e.Tonnes, e.Commodity)
	note(e.VolumeM3 > 0 && !told, logbook.Finding{Code: "gas-space-unknown"})
	full := logbook.Finding{Code: "dose-could-burn", Limit: dose.AlarmLEL * dose.LELppm}
	if told {
		full.Value = logbook.Number(math.Round(min(dose.FullPPM(e.PhosphineG, space, e.GrainTempC), gas.MostPPM)))
	}
	note(full.Value >= full.Limit, full)
	note(e.GrainTempC < protocol.TooColdC, logbook.Finding{Code: "too-cold", Value: logbook.Number(e.GrainTempC), Limit: protocol.TooColdC})
	note(e.GrainTempC >= protocol.TooColdC && e.GrainTempC < protocol.CoolC, logbook.Finding{Code: "cool",
		Value: logbook.Number(e.GrainTempC), Limit: protocol.CoolC})
	if first := k.firstOfPair(); first != nil {
		from, till := first.After.SecondFrom, first.After.SecondTill
		note(s.At > till || s.At < from, logbook.Finding{Code: "second-treatment-off-window", Value: logbook.Number(s.At.Hours(from)), Limit: logbook.Number(till.Hours(from))})
	}
}
