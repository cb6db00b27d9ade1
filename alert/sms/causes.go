package sms

import "undersheet/alert"

// cause is what an error code means for the message that met it.
type cause struct {
	words     string
	permanent bool // somebody has to put something right
	person    bool // it concerns this message or this person alone, not the modem
	doubt     bool // the message may be on its way all the same
}

// messageCauses are <err> of +CMS ERROR, TS 27.005 section 3.2.5: 1 to 127 are the RP
// causes of TS 24.011 (table 8.4, annex E-2), 128 to 255 TP-FCS of TS 23.040
// (9.2.3.22), from 300 on the modem's own. Whether time heals one is our reading.
var messageCauses = map[int]cause{
	1:   {words: "the number is assigned to nobody", permanent: true, person: true},
	8:   {words: "the operator barred this SIM from sending", permanent: true},
	10:  {words: "this SIM is barred from sending", permanent: true},
	21:  {words: "the message was rejected by the other side", person: true},
	22:  {words: "the memory of the other side is full", person: true},
	27:  {words: "the receiver's network is out of order", person: true},
	28:  {words: "the network does not know this SIM's subscriber", permanent: true},
	29:  {words: "the network rejects the service for this SIM", permanent: true},
	30:  {words: "the network does not know this SIM's subscriber", permanent: true},
	38:  {words: "the network is out of order"},
	41:  {words: "the network has a temporary failure"},
	42:  {words: "the network is congested"},
	47:  {words: "the network has no resources left"},
	50:  {words: "this SIM has no subscription for sending messages", permanent: true},
	69:  {words: "the network has no message service", permanent: true},
	81:  {words: "the network lost the thread (invalid reference)"},
	95:  {words: "the network calls the message invalid", permanent: true, person: true},
	96:  {words: "the network calls the message incomplete", permanent: true, person: true},
	97:  {words: "the network does not know this sort of message", permanent: true, person: true},
	98:  {words: "the network did not expect the message now"},
	99:  {words: "the network does not know a part of the message", permanent: true, person: true},
	111: {words: "the network met a protocol error"},
	127: {words: "the networks did not work together"},
	145: {words: "the service centre does not take this class of message", permanent: true, person: true},
	144: {words: "the service centre does not take this alphabet", permanent: true, person: true},
	176: {words: "the service centre does not take this sort of message", permanent: true, person: true},
	192: {words: "the service centre is busy"},
	193: {words: "this SIM has no subscription at the service centre", permanent: true},
	194: {words: "the service centre has a failure"},
	195: {words: "the number is not valid", permanent: true, person: true},
	196: {words: "the number is barred", permanent: true, person: true},
	197: {words: "the service centre has this message already", person: true, doubt: true},
	198: {words: "the service centre does not take this form of validity", permanent: true},
	199: {words: "the service centre does not take this validity", permanent: true},
	300: {words: "the modem failed"},
	301: {words: "the modem's message service is taken by something else"},
	302: {words: "the modem does not allow it", permanent: true},
	303: {words: "the modem cannot do it", permanent: true},
	304: {words: "the modem calls the message invalid", permanent: true, person: true},
	305: {words: "the modem calls the text invalid", permanent: true, person: true},
	310: {words: "no SIM is in the modem", permanent: true},
	311: {words: "the SIM asks for its PIN"},
	312: {words: "the modem is locked to another SIM and asks for a PIN", permanent: true},
	313: {words: "the SIM failed", permanent: true},
	314: {words: "the SIM is busy"},
	315: {words: "it is the wrong SIM for this modem", permanent: true},
	316: {words: "the SIM is locked and asks for its PUK", permanent: true},
	320: {words: "the modem's memory failed"},
	322: {words: "the modem's memory is full", permanent: true},
	330: {words: "the number of the service centre is not known: set sms.centre", permanent: true},
	331: {words: "there is no network"},
	332: {words: "the network did not answer in time", doubt: true},
	500: {words: "the modem gives no reason", doubt: true},
}

// equipmentCauses are <err> of +CME ERROR, TS 27.007 section 9.2.1.
var equipmentCauses = map[int]cause{
	0:   {words: "the modem failed"},
	3:   {words: "the modem does not allow it", permanent: true},
	4:   {words: "the modem cannot do it", permanent: true},
	5:   {words: "the modem is locked to another SIM and asks for a PIN", permanent: true},
	10:  {words: "no SIM is in the modem", permanent: true},
	11:  {words: "the SIM asks for its PIN"},
	12:  {words: "the SIM is locked and asks for its PUK", permanent: true},
	13:  {words: "the SIM failed", permanent: true},
	14:  {words: "the SIM is busy"},
	15:  {words: "it is the wrong SIM for this modem", permanent: true},
	16:  {words: "the PIN is wrong", permanent: true},
	30:  {words: "there is no network"},
	31:  {words: "the network did not answer in time", doubt: true},
	32:  {words: "the network allows emergency calls only", permanent: true},
	100: {words: "the modem gives no reason", doubt: true},
}

// simBusy is the equipment error of a SIM that is still starting.
const simBusy = 14

// cause looks the refusal up. A code that is not in the tables is taken for the
// modem's trouble, which may pass.
func (r *refusal) cause() cause {
	table := messageCauses
	if r.family == "CME" {
		table = equipmentCauses
	}
	if c, ok := table[r.code]; ok && r.family != "" {
		return c
	}
	return cause{words: "a cause that is not in the standard's list", doubt: true}
}

// failure is what the refusal of a whole command means for the message.
func (r *refusal) failure(err error) *alert.Failure {
	c := r.cause()
	return &alert.Failure{Err: err, Permanent: c.permanent, Everyone: !c.person, InDoubt: c.doubt}
}
