package logbook

import (
	"errors"
	"fmt"
	"math"
)

// Kinds of acts: what people did or decide.
const (
	KindDosingStarted    Kind = "dosing-started"
	KindTreatmentStarted Kind = "treatment-started"
	KindDoseAdded        Kind = "dose-added"
	KindExposureExtended Kind = "exposure-extended"
	KindAiringStarted    Kind = "airing-started"
	KindAiringPaused     Kind = "airing-paused"
	KindAiringResumed    Kind = "airing-resumed"
	KindAbandoned        Kind = "treatment-abandoned"
	KindHandReading      Kind = "hand-reading"
	KindMaskedEntry      Kind = "masked-entry"
	KindMaskedExit       Kind = "masked-exit"
	KindNoGasDeclared    Kind = "no-gas-declared"
	KindEntryConfirmed   Kind = "entry-confirmed"
	KindAcknowledged     Kind = "alarm-acknowledged"
	KindLineProved       Kind = "line-proved"
)

// ActKinds lists the acts in the order in which a treatment goes.
var ActKinds = []Kind{KindLineProved, KindInstrumentChecked, KindInstrumentSwapped, KindCanister, KindStockReceived, KindStockCounted, KindChecksSigned, KindNoGasDeclared,
	KindCagesPlaced, KindDosingStarted, KindDosePlaced, KindTreatmentStarted, KindHandReading, KindDoseAdded,
	KindExposureExtended, KindMaskedEntry, KindMaskedExit, KindSheetTorn, KindAiringStarted, KindAiringPaused, KindAiringResumed, KindResidueTaken, KindResidueDisposed,
	KindAbandoned, KindEntryConfirmed, KindInspected, KindCagesRetrieved, KindCagesJudged, KindSheetRepaired, KindGrainIssued, KindWrittenOff,
	KindAcknowledged, KindCorrected, KindPhoto}

// Act is what every act carries beside its kind's own fields.
type Act struct {
	By       string `json:"by,omitempty"`       // the person who says so
	Identity string `json:"identity,omitempty"` // "not verified" while nobody signs in
	Note     string `json:"note,omitempty"`
}

// Who returns the act's common part, so that every kind that embeds it is an Acting.
func (a *Act) Who() *Act { return a }

// Acting is an Entry that is a person's act.
type Acting interface {
	Entry
	Who() *Act
	// Place returns the store or the stack that the act names; the other is empty.
	Place() (store, stack string)
}

// OnStack is the part of acts on one stack.
type OnStack struct {
	Stack string `json:"stack"`
}

// Place implements Acting.
func (o *OnStack) Place() (store, stack string) { return "", o.Stack }

// Validate implements Entry.
func (o *OnStack) Validate() error { return need("stack", o.Stack) }

// OnStore is the part of acts on one store.
type OnStore struct {
	Store string `json:"store"`
}

// Place implements Acting.
func (o *OnStore) Place() (store, stack string) { return o.Store, "" }

// Validate implements Entry.
func (o *OnStore) Validate() error { return need("store", o.Store) }

// DosingStarted: people begin to lay phosphide in a stack. Shuts the gate.
type DosingStarted struct {
	Header
	OnStack
	StoreEmpty bool `json:"store_empty"` // nobody but the dosing crew is in the store
	Act
}

// TreatmentStarted: dosing is done and the sheet is shut. Its Time is t = 0.
type TreatmentStarted struct {
	Header
	OnStack
	Treatment        string  `json:"treatment"` // name, unique in the site
	Protocol         string  `json:"protocol"`
	Commodity        string  `json:"commodity"`
	Tonnes           float64 `json:"tonnes"`
	VolumeM3         float64 `json:"volume_m3"`                    // volume under the sheet
	PhosphineG       float64 `json:"phosphine_g"`                  // g of phosphine that the dose gives off
	GrainTempC       float64 `json:"grain_temp_c"`                 // °C
	GasSpaceM3       float64 `json:"gas_space_m3,omitempty"`       // free gas space under the sheet, when known
	GrainMoisturePct float64 `json:"grain_moisture_pct,omitempty"` // % wet basis
	Form             string  `json:"form,omitempty"`               // tablets, pellets, sachets, plates; gas, from cylinders
	Count            int     `json:"count,omitempty"`              // pieces of the form
	ExposureHours    float64 `json:"exposure_hours,omitempty"`     // planned exposure, when longer than the protocol's
	Particulars
	Act
}

// Particulars are what certificates and registers ask of a treatment beside its
// figures. All are optional, and no rule rests on them.
type Particulars struct {
	Bags        int     `json:"bags,omitempty"`
	Lot         string  `json:"lot,omitempty"`         // marks or number of the lot or consignment
	Destination string  `json:"destination,omitempty"` // where the goods are to go
	Pests       string  `json:"pests,omitempty"`       // what it is done against
	LengthM     float64 `json:"length_m,omitempty"`    // of the stack, m
	WidthM      float64 `json:"width_m,omitempty"`
	HeightM     float64 `json:"height_m,omitempty"`
	Sheet       string  `json:"sheet,omitempty"`       // the sheet, and how its edge is sealed
	DoseSource  string  `json:"dose_source,omitempty"` // the label, guide, plan or protocol that the dose is from
	Fumigator   string  `json:"fumigator,omitempty"`   // licensed, in charge
	Second      string  `json:"second,omitempty"`      // the second person
}

// Validate implements Entry.
func (t *TreatmentStarted) Validate() error {
	if err := need("stack", t.Stack, "treatment", t.Treatment, "protocol", t.Protocol); err != nil {
		return err
	}
	return notNegative("tonnes", t.Tonnes, "volume_m3", t.VolumeM3, "phosphine_g", t.PhosphineG,
		"gas_space_m3", t.GasSpaceM3, "grain_moisture_pct", t.GrainMoisturePct, "count", float64(t.Count),
		"exposure_hours", t.ExposureHours, "bags", float64(t.Bags), "length_m", t.LengthM, "width_m", t.WidthM, "height_m", t.HeightM)
}

// DoseAdded: more phosphine was laid during exposure (a masked entry, by the
// licensed fumigator).
type DoseAdded struct {
	Header
	OnStack
	PhosphineG float64 `json:"phosphine_g"`
	Act
}

// Validate implements Entry.
func (d *DoseAdded) Validate() error {
	return errors.Join(d.OnStack.Validate(), positive("phosphine_g", d.PhosphineG))
}

// ExposureExtended moves the planned end of the exposure, in hours from t = 0.
type ExposureExtended struct {
	Header
	OnStack
	ExposureHours float64 `json:"exposure_hours"`
	Act
}

// Validate implements Entry.
func (x *ExposureExtended) Validate() error {
	return errors.Join(x.OnStack.Validate(), positive("exposure_hours", x.ExposureHours))
}

// AiringStarted: doors and ventilators are open and the sheet's edge is freed.
type AiringStarted struct {
	Header
	OnStack
	Early   string `json:"early,omitempty"`   // why airing began before the shortest exposure
	Despite string `json:"despite,omitempty"` // why it began in the dark, in still air or towards dwellings
	Act
}

// AiringPaused: doors closed for the night or for rain.
type AiringPaused struct {
	Header
	OnStack
	Act
}

// AiringResumed: doors open again; the whole airing time runs anew.
type AiringResumed struct {
	Header
	OnStack
	Act
}

// TreatmentAbandoned: the treatment is given up. The stack is still under gas.
type TreatmentAbandoned struct {
	Header
	OnStack
	Why string `json:"why"`
	Act
}

// Validate implements Entry.
func (a *TreatmentAbandoned) Validate() error { return need("stack", a.Stack, "why", a.Why) }

// WhereBags is where a hand reading of the gas inside bags was taken.
const WhereBags = "bags"

// HandReading is a value that a person measured, at a line of a stack, inside its bags
// or at an air point of a store.
type HandReading struct {
	Header
	Stack          string   `json:"stack,omitempty"`
	Line           string   `json:"line,omitempty"`
	Store          string   `json:"store,omitempty"`
	Point          string   `json:"point,omitempty"` // "beside B" for the air beside stack B
	Where          string   `json:"where,omitempty"` // "bags": inside bags of the stack, at no line
	Value          float64  `json:"value"`
	Unit           string   `json:"unit"`
	Method         string   `json:"method"`
	Instrument     string   `json:"instrument,omitempty"`      // serial number of the meter, or batch of the tubes
	Accuracy       float64  `json:"accuracy,omitempty"`        // greatest error as a fraction of the reading; 0 = of a detector tube
	DetectionLimit *float64 `json:"detection_limit,omitempty"` // in Unit
	Act
}

// Place implements Acting.
func (h *HandReading) Place() (store, stack string) { return h.Store, h.Stack }

// Validate implements Entry.
func (h *HandReading) Validate() error {
	onLine, inAir := h.Stack != "" && h.Line != "", h.Store != "" && h.Point != ""
	switch {
	case h.Where != "" && h.Where != WhereBags:
		return fmt.Errorf("the field \"where\" is %q: want %s, or nothing", h.Where, WhereBags)
	case h.Where == WhereBags && (h.Stack == "" || h.Line != "" || h.Store != "" || h.Point != ""):
		return errors.New("a hand reading inside bags names \"stack\" alone")
	case h.Where == "" && onLine == inAir:
		return errors.New("a hand reading names either \"stack\" and \"line\" or \"store\" and \"point\"; inside bags \"stack\" and \"where\"")
	}
	if err := need("unit", h.Unit, "method", h.Method); err != nil {
		return err
	}
	if h.Unit != PPM && h.Unit != MgM3 && h.Unit != GM3 {
		return fmt.Errorf("the unit %q is none of ppm, mg/m3, g/m3", h.Unit)
	}
	if h.DetectionLimit != nil {
		return notNegative("value", h.Value, "accuracy", h.Accuracy, "detection_limit", *h.DetectionLimit)
	}
	return notNegative("value", h.Value, "accuracy", h.Accuracy)
}

// MaskedEntry: a person with breathing protection goes in, a second stays at the door.
type MaskedEntry struct {
	Header
	OnStore
	In         string `json:"in"`         // who goes in
	AtDoor     string `json:"at_door"`    // who stays at the door
	Protection string `json:"protection"` // what they wear
	Act
}

// MaskedExit: whoever was inside by masked entry is out again.
type MaskedExit struct {
	Header
	OnStore
	Out string `json:"out,omitempty"` // who is out; empty: the one who went in first
	Act
}

// NoGasDeclared is a signed statement that nothing in the store is under gas.
type NoGasDeclared struct {
	Header
	OnStore
	Act
}

// EntryConfirmed: a named person clears the store. A permission, so it can be refused.
type EntryConfirmed struct {
	Header
	OnStore
	Act
}

// positive returns an error naming the first value that is not above 0 and finite; pairs are name, float64.
func positive(pairs ...any) error {
	for i := 0; i+1 < len(pairs); i += 2 {
		if v := pairs[i+1].(float64); !(v > 0) || math.IsInf(v, 0) {
			return fmt.Errorf("the field %q must be above 0 (got %v)", pairs[i], v)
		}
	}
	return nil
}

// notNegative returns an error naming the first value that is below 0 or not finite; pairs are name, float64.
func notNegative(pairs ...any) error {
	for i := 0; i+1 < len(pairs); i += 2 {
		if v := pairs[i+1].(float64); !(v >= 0) || math.IsInf(v, 0) {
			return fmt.Errorf("the field %q must not be negative (got %v)", pairs[i], v)
		}
	}
	return nil
}
