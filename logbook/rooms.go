package logbook

// Contact is a sensor of two states, 0 and 1, on a channel with the unit "state":
// a door contact, a water sensor, a relay on the mains.
type Contact struct {
	Name     string `json:"name" yaml:"name"`
	Channel  string `json:"channel" yaml:"channel"`
	Inverted bool   `json:"inverted,omitempty" yaml:"inverted"` // 0 and 1 mean the opposite
}

// On returns what a value of the channel means.
func (c Contact) On(value float64) bool { return (value >= 0.5) != c.Inverted }

// Places to which a sampling pump gives back what it drew. The room where people
// sit is none: it would fill with phosphine.
const (
	ReturnsStack   = "stack"
	ReturnsOutside = "outside"
)

// Pump draws samples through the lines.
type Pump struct {
	Name    string   `json:"name" yaml:"name"`
	Channel string   `json:"channel,omitempty" yaml:"channel"` // of its flow, L/min, or of its state, 1 = running; empty: not watched
	Flow    float64  `json:"flow" yaml:"flow"`                 // L/min that it draws when it runs
	Least   float64  `json:"least,omitempty" yaml:"least"`     // L/min under which it counts as off; default half of Flow
	Draws   []string `json:"draws" yaml:"draws"`               // channels whose samples it draws, in turn
	Returns string   `json:"returns" yaml:"returns"`           // stack or outside
}

// LeastFlow is the flow in L/min under which the pump counts as off.
func (p *Pump) LeastFlow() float64 {
	if p.Least > 0 {
		return p.Least
	}
	return p.Flow / 2
}

// Wind is where the wind of the site is read.
type Wind struct {
	Speed     string `json:"speed,omitempty" yaml:"speed"`         // channel, m/s
	Direction string `json:"direction,omitempty" yaml:"direction"` // channel, degrees from north from which it blows
}

// Delays are when an alarm is raised and cleared; zero fields take the shipped ones.
type Delays struct {
	On       Duration `json:"on_delay,omitempty" yaml:"on_delay"`   // the condition must hold this long first
	Off      Duration `json:"off_delay,omitempty" yaml:"off_delay"` // it must be gone this long first
	Deadband float64  `json:"deadband,omitempty" yaml:"deadband"`   // fraction of the limit that the value must come back by
}

// SMS is a GSM modem on a serial line (3GPP TS 27.005). The PIN is never part of a site.
type SMS struct {
	Port    string `json:"port" yaml:"port"`               // device path
	Baud    int    `json:"baud,omitempty" yaml:"baud"`     // 115200
	Mode    string `json:"mode,omitempty" yaml:"mode"`     // pdu (default) or text
	Centre  string `json:"centre,omitempty" yaml:"centre"` // number of the service centre; empty: that of the SIM
	PINFile string `json:"pin_file,omitempty" yaml:"pin_file"`
	PINEnv  string `json:"pin_env,omitempty" yaml:"pin_env"`
}

// Webhook is a server that is told of alarms and gates by CloudEvents over HTTP.
// The secret that signs them is never part of a site.
type Webhook struct {
	Name       string `json:"name" yaml:"name"`
	URL        string `json:"url" yaml:"url"` // https, or http to this machine
	CA         string `json:"ca,omitempty" yaml:"ca"`
	SecretEnv  string `json:"secret_env,omitempty" yaml:"secret_env"`
	SecretFile string `json:"secret_file,omitempty" yaml:"secret_file"`
	From       string `json:"from,omitempty" yaml:"from"` // lowest priority told: low (default), medium or high
}

// Beacon is a broker on which gates and alarms are published, retained.
type Beacon struct {
	Broker       string `json:"broker" yaml:"broker"`                 // tcp://host:1883 or tls://host:8883
	ClientID     string `json:"client_id,omitempty" yaml:"client_id"` // default: undersheet-<site>-beacon
	Topic        string `json:"topic,omitempty" yaml:"topic"`         // what every topic begins with; default: undersheet/<site>
	CA           string `json:"ca,omitempty" yaml:"ca"`
	Cert         string `json:"cert,omitempty" yaml:"cert"`
	Key          string `json:"key,omitempty" yaml:"key"`
	UserEnv      string `json:"user_env,omitempty" yaml:"user_env"`
	UserFile     string `json:"user_file,omitempty" yaml:"user_file"`
	PasswordEnv  string `json:"password_env,omitempty" yaml:"password_env"`
	PasswordFile string `json:"password_file,omitempty" yaml:"password_file"`
}

// Forward is where the logbook is copied to in line protocol: a file or a server.
type Forward struct {
	Name         string `json:"name" yaml:"name"`
	File         string `json:"file,omitempty" yaml:"file"` // path; or
	URL          string `json:"url,omitempty" yaml:"url"`   // of the write endpoint, with its query
	CA           string `json:"ca,omitempty" yaml:"ca"`
	UserEnv      string `json:"user_env,omitempty" yaml:"user_env"`
	UserFile     string `json:"user_file,omitempty" yaml:"user_file"`
	PasswordEnv  string `json:"password_env,omitempty" yaml:"password_env"` // of User; without a user: a token
	PasswordFile string `json:"password_file,omitempty" yaml:"password_file"`
}
