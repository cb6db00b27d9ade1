package logbook

// makers makes an empty entry of each kind.
var makers = map[Kind]func() Entry{
	KindReading:          func() Entry { return &Reading{} },
	KindClock:            func() Entry { return &Clock{} },
	KindClockStepped:     func() Entry { return &ClockStepped{} },
	KindSiteConfigured:   func() Entry { return &SiteConfigured{} },
	KindInstrumentState:  func() Entry { return &InstrumentState{} },
	KindPayloadRefused:   func() Entry { return &PayloadRefused{} },
	KindRestored:         func() Entry { return &Restored{} },
	KindDosingStarted:    func() Entry { return &DosingStarted{} },
	KindTreatmentStarted: func() Entry { return &TreatmentStarted{} },
	KindDoseAdded:        func() Entry { return &DoseAdded{} },
	KindExposureExtended: func() Entry { return &ExposureExtended{} },
	KindAiringStarted:    func() Entry { return &AiringStarted{} },
	KindAiringPaused:     func() Entry { return &AiringPaused{} },
	KindAiringResumed:    func() Entry { return &AiringResumed{} },
	KindAbandoned:        func() Entry { return &TreatmentAbandoned{} },
	KindHandReading:      func() Entry { return &HandReading{} },
	KindMaskedEntry:      func() Entry { return &MaskedEntry{} },
	KindMaskedExit:       func() Entry { return &MaskedExit{} },
	KindNoGasDeclared:    func() Entry { return &NoGasDeclared{} },
	KindEntryConfirmed:   func() Entry { return &EntryConfirmed{} },
	KindAcknowledged:     func() Entry { return &AlarmAcknowledged{} },
	KindLineProved:       func() Entry { return &LineProved{} },
	KindInspected:        func() Entry { return &GrainInspected{} },
	KindAccepted:         func() Entry { return &Accepted{} },
	KindRefused:          func() Entry { return &Refused{} },
	KindFinding:          func() Entry { return &Finding{} },
	KindPhase:            func() Entry { return &Phase{} },
	KindEndLevel:         func() Entry { return &EndLevel{} },
	KindGate:             func() Entry { return &Gate{} },
	KindAlarm:            func() Entry { return &Alarm{} },
	KindForecast:         func() Entry { return &Forecast{} },
	KindMessage:          func() Entry { return &Message{} },
	KindCriteria:         func() Entry { return &Criteria{} },
}

// records tells the kinds that are records from those that are inputs.
var records = map[Kind]bool{
	KindAccepted: true, KindRefused: true, KindFinding: true, KindPhase: true, KindEndLevel: true,
	KindGate: true, KindAlarm: true, KindForecast: true, KindMessage: true,
	KindCriteria: true,
}
