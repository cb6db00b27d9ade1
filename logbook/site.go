package logbook

// Site is a depot as its site file describes it, normalised: defaults filled in,
// the country's limits and the protocols' figures put beside it, no secrets. The
// YAML form is read by package configs; the JSON form travels in site-configured.
type Site struct {
	Name        string               `json:"site" yaml:"site"`
	Position    *Position            `json:"position,omitempty" yaml:"position"`               // for daylight; nil: not said
	Timezone    string               `json:"timezone" yaml:"timezone"`                         // IANA name
	Offsets     []Offset             `json:"zone_offsets,omitempty" yaml:"-"`                  // of the time zone, oldest first; filled in by configs; none: UTC
	Limits      string               `json:"limits,omitempty" yaml:"limits"`                   // ISO 3166 code or EU; empty: 0.3 ppm holds
	LimitSets   []LimitSet           `json:"limit_sets,omitempty" yaml:"-"`                    // of the country, oldest first; filled in by configs
	Logbook     string               `json:"logbook,omitempty" yaml:"logbook"`                 // path of the embedded database
	Language    string               `json:"language,omitempty" yaml:"language"`               // of sentences, ISO 639-1; empty in older logbooks: en
	Emergency   string               `json:"emergency,omitempty" yaml:"emergency"`             // line that ends every message
	Instruments []Instrument         `json:"instruments,omitempty" yaml:"instruments"`         // may be empty for a replay
	Channels    map[string]Channel   `json:"channels" yaml:"channels"`                         // by name
	Stores      []Store              `json:"stores" yaml:"stores"`                             //
	Protocols   map[string]Protocol  `json:"protocols,omitempty" yaml:"protocols"`             // tightened or added by the site
	Settings    Settings             `json:"settings,omitzero" yaml:"settings"`                //
	Mains       []Contact            `json:"mains,omitempty" yaml:"mains"`                     // 1 = power is there
	Pumps       []Pump               `json:"pumps,omitempty" yaml:"pumps"`                     // that draw samples
	Wind        *Wind                `json:"wind,omitempty" yaml:"wind"`                       //
	Alarms      map[string]Delays    `json:"alarms,omitempty" yaml:"alarms"`                   // the site's own delays, by name of the alarm
	Mail        *Mail                `json:"mail,omitempty" yaml:"mail"`                       //
	SMS         *SMS                 `json:"sms,omitempty" yaml:"sms"`                         //
	Webhooks    []Webhook            `json:"webhooks,omitempty" yaml:"webhooks"`               //
	Beacon      *Beacon              `json:"beacon,omitempty" yaml:"beacon"`                   //
	Forward     []Forward            `json:"forward,omitempty" yaml:"forward"`                 //
	FollowUps   map[string]Following `json:"follow_ups,omitempty" yaml:"follow_ups"`           // who does follow-ups and when people are told; by follow-up, EveryFollowUp for all others
	People      []Person             `json:"people,omitempty" yaml:"people"`                   // who is told
	Unsuited    []string             `json:"unsuited,omitempty" yaml:"unsuited"`               // commodities unfit for phosphine; empty: the shipped list
	Authority   string               `json:"unsuited_source,omitempty" yaml:"unsuited_source"` // who says so
}

// Speaks returns the language of the site.
func (s *Site) Speaks() string {
	if s == nil || s.Language == "" {
		return "en"
	}
	return s.Language
}

// Reads returns the language that a person is written to in.
func (s *Site) Reads(p Person) string {
	if p.Language == "" {
		return s.Speaks()
	}
	return p.Language
}

// Offset is how far the depot's clock is ahead of UTC from a moment on.
type Offset struct {
	From    Time `json:"from,omitzero"` // 0 = always before the next one
	Seconds int  `json:"seconds"`
}

// Following is who does a follow-up and when people are told of it; zero fields take
// the shipped figures.
type Following struct {
	Owner string   `json:"owner,omitempty" yaml:"owner"` // a name of people; empty: everybody
	Lead  Duration `json:"lead,omitempty" yaml:"lead"`   // the owner is reminded so long before it is due
	After Duration `json:"after,omitempty" yaml:"after"` // it counts as overdue so long after it was due
}

// EveryFollowUp is the key that stands for all follow-ups without an entry of their own.
const EveryFollowUp = "default"

// Position is where a depot lies, in degrees.
type Position struct {
	Latitude  float64 `json:"latitude" yaml:"latitude"`   // north positive
	Longitude float64 `json:"longitude" yaml:"longitude"` // east positive
}

// Dwelling is where people live near a store.
type Dwelling struct {
	Name    string  `json:"name" yaml:"name"`
	Bearing float64 `json:"bearing" yaml:"bearing"` // degrees from north, from the store
	Metres  float64 `json:"metres,omitempty" yaml:"metres"`
}

// Channel is one measured value of an instrument.
type Channel struct {
	Gas            string   `json:"gas,omitempty" yaml:"gas"`                         // ph3; empty for values that are no gas
	Unit           string   `json:"unit" yaml:"unit"`                                 //
	Range          float64  `json:"range,omitempty" yaml:"range"`                     // top of the range, in Unit; 0 = not stated
	Resolution     float64  `json:"resolution,omitempty" yaml:"resolution"`           // in Unit
	DetectionLimit float64  `json:"detection_limit,omitempty" yaml:"detection_limit"` // in Unit
	Accuracy       float64  `json:"accuracy,omitempty" yaml:"accuracy"`               // fraction of the reading
	ZeroError      *float64 `json:"zero_error,omitempty" yaml:"zero_error"`           // in Unit; default DetectionLimit
	Every          Duration `json:"every,omitempty" yaml:"every"`                     // usual interval; 0 = learned
}

// Zero returns the zero error in the channel's unit.
func (c Channel) Zero() float64 {
	if c.ZeroError != nil {
		return *c.ZeroError
	}
	return c.DetectionLimit
}

// Places of an air point.
const (
	WhereInside   = "inside"
	WhereDoor     = "door"
	WhereOffice   = "office"
	WhereOutside  = "outside"
	WhereDwelling = "dwelling"
)

// Store is a building that people enter.
type Store struct {
	Name      string     `json:"name" yaml:"name"`
	Air       []AirPoint `json:"air,omitempty" yaml:"air"`
	Outdoors  bool       `json:"outdoors,omitempty" yaml:"outdoors"`   // stacks on a plinth in the open: an exclusion zone, not a building
	Adjoins   []string   `json:"adjoins,omitempty" yaml:"adjoins"`     // stores whose gas shuts this one too, and the other way round
	Dwellings []Dwelling `json:"dwellings,omitempty" yaml:"dwellings"` // near it
	Doors     []Contact  `json:"doors,omitempty" yaml:"doors"`         // 1 = open
	Water     []Contact  `json:"water,omitempty" yaml:"water"`         // 1 = water on the floor or in the line
	Stacks    []Stack    `json:"stacks,omitempty" yaml:"stacks"`
}

// AirPoint is a fixed sampling point in air.
type AirPoint struct {
	Name    string  `json:"name" yaml:"name"`
	Channel string  `json:"channel" yaml:"channel"`
	Where   string  `json:"where,omitempty" yaml:"where"` // inside when empty
	Limit   float64 `json:"limit,omitempty" yaml:"limit"` // ppm: of a dwelling, set by the site with its authority; 0 = not set
}

// Gate reports whether the re-entry gate of the store looks at the point.
func (p AirPoint) Gate() bool {
	return p.Where == "" || p.Where == WhereInside || p.Where == WhereDoor
}

// Stack is one bag-stack under one sheet.
type Stack struct {
	Name        string `json:"name" yaml:"name"`
	Lines       []Line `json:"lines,omitempty" yaml:"lines"`
	Temperature string `json:"temperature,omitempty" yaml:"temperature"` // channel of the grain temperature, °C
}

// Line is a fixed gas-sampling line under a sheet.
type Line struct {
	Name    string  `json:"name" yaml:"name"`
	Channel string  `json:"channel" yaml:"channel"`
	Length  float64 `json:"length_m,omitempty" yaml:"length_m"` // m of tube to the instrument, for the record; 0 = not said
}

// Protocol is what a treatment must hold. In a site file, zero fields are taken
// from Base.
type Protocol struct {
	Base            string   `json:"base,omitempty" yaml:"base"`                           // built-in protocol that it tightens
	Hours           float64  `json:"hours,omitempty" yaml:"hours"`                         // shortest exposure, hours from t = 0
	EndLevel        float64  `json:"end_level,omitempty" yaml:"end_level"`                 // in EndLevelUnit
	EndLevelUnit    string   `json:"end_level_unit,omitempty" yaml:"end_level_unit"`       // the unit in which it was set
	Airing          Duration `json:"airing,omitempty" yaml:"airing"`                       // shortest airing
	SecondAfterDays float64  `json:"second_after_days,omitempty" yaml:"second_after_days"` // second exposure starts this long after the first one's end
	SecondWindow    Duration `json:"second_window,omitempty" yaml:"second_window"`         // and not later than this after that
	ByTemperature   bool     `json:"by_temperature,omitempty" yaml:"by_temperature"`       // cool grain is held as long as is published for it, where that is longer
	Source          string   `json:"source,omitempty" yaml:"source"`
}

// LimitSet is a country's occupational limits from a date on.
type LimitSet struct {
	From   Time    `json:"from,omitzero"`
	Source string  `json:"source"`
	Levels []Level `json:"levels"`
}

// Level is one occupational limit.
type Level struct {
	Name string  `json:"name"` // twa-8h, short-term-15min, ceiling, peak
	PPM  float64 `json:"ppm"`
}

// Settings are the site's own figures; zero fields take the shipped defaults.
type Settings struct {
	Night          *Night   `json:"night,omitempty" yaml:"night"`                       // when nobody is woken without need; 20:00 to 06:00
	ConfirmEvery   Duration `json:"confirm_every,omitempty" yaml:"confirm_every"`       // a clearance lapses after this; 12 h
	Withholding    Duration `json:"withholding,omitempty" yaml:"withholding"`           // 48 h
	FalseLeakDays  float64  `json:"false_leak_days,omitempty" yaml:"false_leak_days"`   // stack-days between false leak alarms; 500
	MaskedEntryMax Duration `json:"masked_entry_max,omitempty" yaml:"masked_entry_max"` // 20 min
	InspectAt      string   `json:"inspect_at,omitempty" yaml:"inspect_at"`             // when grain is looked at for live insects, 15:04 by the depot's clock; 16:30
	SecondLook     Duration `json:"second_look,omitempty" yaml:"second_look"`           // the grain is looked at again so long after the first time; 0 = not
	Jar            Duration `json:"jar,omitempty" yaml:"jar"`                           // samples of cages are kept and judged again; 30 days
}

// Night is when it is dark and people sleep, by the clock of the site's zone. It
// may span midnight.
type Night struct {
	From string `json:"from" yaml:"from"` // 15:04
	To   string `json:"to" yaml:"to"`     // first light, 15:04
}

// Person is somebody who is told of alarms.
type Person struct {
	Name         string `json:"name" yaml:"name"`
	Email        string `json:"email,omitempty" yaml:"email"`
	Phone        string `json:"phone,omitempty" yaml:"phone"`                 // for SMS: +, country code and number, or a short code
	From         string `json:"from,omitempty" yaml:"from"`                   // lowest priority told: low, medium (default) or high
	Language     string `json:"language,omitempty" yaml:"language"`           // of messages, ISO 639-1; empty: the site's
	Licence      string `json:"licence,omitempty" yaml:"licence"`             // number of the fumigator's licence, and who gave it
	LicenceUntil string `json:"licence_until,omitempty" yaml:"licence_until"` // last day of the fumigator's licence, 2006-01-02; empty = not said
}

// Mail is the server that takes e-mail. The password is never part of a site.
type Mail struct {
	Host         string `json:"host" yaml:"host"`
	Port         int    `json:"port" yaml:"port"`
	From         string `json:"from" yaml:"from"`
	TLS          string `json:"tls" yaml:"tls"` // starttls (default), tls, or none (loopback only)
	CA           string `json:"ca,omitempty" yaml:"ca"`
	User         string `json:"user,omitempty" yaml:"user"`
	PasswordEnv  string `json:"password_env,omitempty" yaml:"password_env"`
	PasswordFile string `json:"password_file,omitempty" yaml:"password_file"`
}
