package logbook

// Outlook is what the fit says can still be done so that a running exposure holds
// its end level. It is shown to people and kept in no record: it ages within hours.
// Times are 0 and grams are 0 where nothing is to be said.
type Outlook struct {
	Stack     string
	At        Time    // when it was reckoned
	For       Time    // planned end
	EndPPM    float64 // end level
	Chance    float64 // that every line is at or above it at For, with nothing done
	Want      float64 // chance that is asked for
	Leaking   bool    // a leak stands: its loss is reckoned to go on
	HeldUntil Time    // every line is at or above the end level until then, with the chance Want
	Longer    Time    // a longer exposure until then ends at or above it, with the chance Want
	TopUp     TopUp
	Other     OtherEnd
}

// TopUp is phosphine added to a running exposure.
type TopUp struct {
	Known  bool    // what phosphine gives is known, and some is wanted
	Grams  float64 // least that, added at At of the outlook, brings the chance to Want; 0 = not even Most does
	Most   float64 // g that were laid at first: no more is reckoned with
	Until  Time    // latest time at which Most still does
	Airing Time    // earliest airing after a top-up now: its own release is over
	Piece  float64 // g of phosphine that one piece gives; 0 = not known
	Form   string  // what the pieces are called
}

// OtherEnd is a longer protocol with a lower end level.
type OtherEnd struct {
	Protocol string // empty = none
	End      Time
	EndPPM   float64
	Chance   float64 // that every line is at or above EndPPM at End
}
