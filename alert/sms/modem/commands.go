package modem

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// settings are what a modem forgets when it is unplugged.
type settings struct {
	quiet   bool   // no echo
	errors  int    // +CMEE
	text    bool   // +CMGF=1
	centre  string // +CSCA
	charset string // +CSCS
	first   int    // first octet of +CSMP
	coding  int    // data coding scheme of +CSMP

	command []byte // the command line so far
	body    []byte // the message so far
	inBody  bool
	to      string // text mode: receiver of the message
	length  int    // PDU mode: length announced
}

// reset makes them those of a modem just plugged in.
func (s *settings) reset() { *s = settings{charset: "GSM", first: 17} }

// sim is the card.
type sim struct {
	tries int
	puk   bool
	open  bool // the PIN was given, or none is needed
}

// mostLine is the longest command line or body; what comes beyond is lost.
const mostLine = 2048

// Control characters of TS 27.005 and V.250.
const (
	backspace = 0x08
	send      = 0x1A
	cancel    = 0x1B
)

// take takes one byte from the line.
func (m *Modem) take(ctx context.Context, t *terminal, b byte) {
	s := &m.line
	if !s.quiet {
		t.write(string([]byte{b}))
	}
	switch {
	case s.inBody:
		m.takeBody(ctx, t, b)
	case b == '\r':
		line := string(s.command)
		s.command = nil
		m.execute(ctx, t, line)
	case b == cancel:
		s.command = nil
	case b == '\n':
	case len(s.command) < mostLine:
		s.command = append(s.command, b)
	}
}

// result words answer lines as V.250 does in its verbose form.
func result(lines ...string) string { return "\r\n" + strings.Join(lines, "\r\n\r\n") + "\r\n" }

// execute works a command line off. A line without AT in it is noise.
func (m *Modem) execute(ctx context.Context, t *terminal, line string) {
	at := strings.Index(strings.ToUpper(line), "AT")
	if at < 0 {
		return
	}
	line = line[at:]
	m.note(line)
	f := m.fault(line)
	switch {
	case f.Answer != "":
		m.answer(ctx, t, f, result(f.Answer))
	case strings.HasPrefix(strings.ToUpper(line), "AT+CMGS="):
		m.prompt(ctx, t, f, line[len("AT+CMGS="):])
	default:
		m.answer(ctx, t, f, result(m.all(line[2:])...))
	}
}

// all runs every command of a line after AT, and returns what they say and the
// final result.
func (m *Modem) all(rest string) (lines []string) {
	for rest != "" {
		var one string
		if rest[0] == '+' {
			one, rest, _ = strings.Cut(rest, ";")
		} else {
			n := 1
			for n < len(rest) && rest[n] >= '0' && rest[n] <= '9' {
				n++
			}
			one, rest = rest[:n], rest[n:]
		}
		said, final := m.one(one)
		lines = append(lines, said...)
		if final != "OK" {
			return append(lines, final)
		}
	}
	return append(lines, "OK")
}

// one runs one command.
func (m *Modem) one(c string) (said []string, final string) {
	name, value, set := strings.Cut(c, "=")
	name = strings.ToUpper(strings.TrimSuffix(name, "?"))
	if slices.Contains(m.opts.Missing, name) {
		return nil, "ERROR"
	}
	switch {
	case name == "E" || name == "E0" || name == "E1":
		m.line.quiet = name != "E1"
		return nil, "OK"
	case name == "Q0" || name == "V1":
		return nil, "OK"
	case set && value == "?":
		return test(name)
	case set:
		return m.set(name, value)
	}
	return m.ask(name)
}

// ask answers a question.
func (m *Modem) ask(name string) (said []string, final string) {
	switch name {
	case "+CPIN":
		switch {
		case m.sim.puk:
			return []string{"+CPIN: SIM PUK"}, "OK"
		case !m.sim.open:
			return []string{"+CPIN: SIM PIN"}, "OK"
		}
		return []string{"+CPIN: READY"}, "OK"
	case "+CREG", "+CGREG", "+CEREG":
		return []string{fmt.Sprintf("%s: 0,%d", name, m.registration())}, "OK"
	case "+CSQ":
		return []string{fmt.Sprintf("+CSQ: %d,99", m.opts.Signal)}, "OK"
	case "+CMEE":
		return []string{fmt.Sprintf("+CMEE: %d", m.line.errors)}, "OK"
	case "+CMGF":
		return []string{fmt.Sprintf("+CMGF: %d", map[bool]int{true: 1}[m.line.text])}, "OK"
	case "+CSCA":
		return []string{fmt.Sprintf("+CSCA: %q,145", m.line.centre)}, "OK"
	case "+CSCS":
		return []string{fmt.Sprintf("+CSCS: %q", m.line.charset)}, "OK"
	case "+CGMI", "+CGMM", "+CGMR": // maker, model, revision (TS 27.007, 5.1 to 5.3)
		return []string{"software"}, "OK"
	}
	return nil, "ERROR"
}

// test answers a test command: which values a setting takes.
func test(name string) (said []string, final string) {
	switch name {
	case "+CSCS":
		return []string{`+CSCS: ("GSM","UCS2")`}, "OK"
	case "+CMGF":
		return []string{"+CMGF: (0,1)"}, "OK"
	}
	return nil, "ERROR"
}

// registration is what the network says to this SIM.
func (m *Modem) registration() int {
	m.mu.Lock()
	defer m.mu.Unlock()
	if !m.sim.open {
		return Idle
	}
	return m.network
}

// set changes a setting.
func (m *Modem) set(name, value string) (said []string, final string) {
	s := &m.line
	switch name {
	case "+CMEE":
		return nil, number(value, &s.errors)
	case "+CPIN":
		return nil, m.unlock(unquote(value))
	case "+CPINR":
		return []string{fmt.Sprintf("+CPINR: SIM PIN,%d,3", m.sim.tries)}, "OK"
	case "+CMGF":
		s.text = value == "1"
	case "+CREG", "+CGREG", "+CEREG", "+CFUN": // it stays silent unasked, and switched on
	case "+CSCA":
		if !m.sim.open {
			return nil, m.cms(311)
		}
		centre, _, _ := strings.Cut(value, ",")
		s.centre = unquote(centre)
	case "+CSCS":
		s.charset = unquote(value)
	case "+CSMP":
		return nil, s.parameters(strings.Split(value, ","))
	default:
		return nil, "ERROR"
	}
	return nil, "OK"
}

// parameters takes the four numbers of +CSMP.
func (s *settings) parameters(p []string) string {
	if len(p) != 4 {
		return "ERROR"
	}
	if r := number(p[0], &s.first); r != "OK" {
		return r
	}
	return number(p[3], &s.coding)
}

// unlock tries a PIN.
func (m *Modem) unlock(pin string) string {
	switch {
	case m.sim.puk:
		return m.cme(12)
	case m.sim.open:
		return m.cme(3)
	case pin == m.opts.PIN:
		m.sim.open, m.sim.tries = true, 3
		return "OK"
	}
	m.sim.tries--
	m.sim.puk = m.sim.tries <= 0
	return m.cme(16)
}

// cme words an equipment error (TS 27.007, 9.2) as +CMEE asks for.
func (m *Modem) cme(code int) string {
	if m.line.errors == 0 {
		return "ERROR"
	}
	return fmt.Sprintf("+CME ERROR: %d", code)
}

// cms words a message service error (TS 27.005, 3.2.5).
func (m *Modem) cms(code int) string { return fmt.Sprintf("+CMS ERROR: %d", code) }

// unquote takes the quotation marks off a string parameter.
func unquote(s string) string { return strings.Trim(s, `"`) }

// number reads a number parameter and returns the final result.
func number(s string, into *int) string {
	n, err := strconv.Atoi(s)
	if err != nil {
		return "ERROR"
	}
	*into = n
	return "OK"
}
