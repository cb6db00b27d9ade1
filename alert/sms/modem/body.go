package modem

import (
	"context"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"
	"unicode/utf16"

	"undersheet/alert/sms/pdu"
)

// prompt begins a message: value is what stood after AT+CMGS=.
func (m *Modem) prompt(ctx context.Context, t *terminal, f Fault, value string) {
	s := &m.line
	refuse := ""
	switch {
	case m.sim.puk:
		refuse = m.cms(316)
	case !m.sim.open:
		refuse = m.cms(311)
	case s.text:
		to, _, _ := strings.Cut(value, ",")
		s.to = s.characters(unquote(to))
		if _, err := pdu.Number(s.to); err != nil {
			refuse = m.cms(305)
		}
	default:
		n, err := strconv.Atoi(value)
		if s.length = n; err != nil || n < 7 || n > 164 {
			refuse = m.cms(304)
		}
	}
	if refuse != "" {
		m.answer(ctx, t, f, result(refuse))
		return
	}
	s.inBody, s.body = !f.Silent, nil
	m.answer(ctx, t, f, "\r\n> ")
}

// characters reads a string parameter in the character set of +CSCS.
func (s *settings) characters(p string) string {
	if s.charset != "UCS2" {
		return p
	}
	text, err := fromHex(p)
	if err != nil {
		return ""
	}
	return text
}

// fromHex reads UTF-16 written as hexadecimal digits.
func fromHex(digits string) (string, error) {
	b, err := hex.DecodeString(digits)
	if err != nil || len(b)%2 != 0 {
		return "", fmt.Errorf("read UCS2 %q: no whole characters", digits)
	}
	units := make([]uint16, len(b)/2)
	for i := range units {
		units[i] = uint16(b[2*i])<<8 | uint16(b[2*i+1])
	}
	return string(utf16.Decode(units)), nil
}

// takeBody takes one byte of a message.
func (m *Modem) takeBody(ctx context.Context, t *terminal, b byte) {
	s := &m.line
	switch {
	case b == cancel:
		s.inBody = false
		m.note("(cancelled)")
		t.write(result("OK"))
	case b == send:
		s.inBody = false
		m.finish(ctx, t, string(s.body))
	case s.text && b == backspace:
		s.body = s.body[:max(0, len(s.body)-1)]
	case s.text && b == '\r':
		s.body = append(s.body, '\n')
		t.write("\r\n> ")
	case len(s.body) < mostLine:
		s.body = append(s.body, b)
	}
}

// finish takes a whole message.
func (m *Modem) finish(ctx context.Context, t *terminal, body string) {
	m.note(body)
	f := m.fault(OnBody)
	if f.Answer != "" {
		m.answer(ctx, t, f, result(f.Answer))
		return
	}
	part, code := m.read(body)
	if code != 0 {
		m.answer(ctx, t, f, result(m.cms(code)))
		return
	}
	number := m.joiner.count()
	if whole, ok := m.joiner.add(part); ok {
		m.deliver(whole)
	}
	m.answer(ctx, t, f, result(fmt.Sprintf("+CMGS: %d", number), "OK"))
}

// read reads a message in the mode that is set; code is that of a refusal.
func (m *Modem) read(body string) (part pdu.Submit, code int) {
	s := &m.line
	if s.text {
		text, ok := s.readText(body)
		if !ok {
			return pdu.Submit{}, 305
		}
		return pdu.Submit{Number: s.to, Text: text}, 0
	}
	part, err := pdu.Decode(strings.TrimSpace(body))
	if err != nil {
		return pdu.Submit{}, 304
	}
	if _, length, err := part.Encode(); err != nil || length != s.length {
		return pdu.Submit{}, 304
	}
	return part, 0
}

// readText reads a message of text mode (TS 27.005, <data>).
func (s *settings) readText(body string) (string, bool) {
	if s.coding == int(pdu.UCS2) {
		text, err := fromHex(body)
		return text, err == nil && pdu.UCS2.Units(text) <= pdu.UCS2.Room(false)
	}
	if s.charset == "UCS2" {
		text, err := fromHex(body)
		return text, err == nil && pdu.Best(text) == pdu.GSM7 && pdu.GSM7.Units(text) <= pdu.GSM7.Room(false)
	}
	var b strings.Builder
	for _, c := range []byte(body) { // character set GSM: the codes of the alphabet, one an octet
		b.WriteString(pdu.Character(c))
	}
	return b.String(), len(body) <= pdu.GSM7.Room(false)
}

// deliver gives a message to whoever waits for it.
func (m *Modem) deliver(whole Message) {
	m.mu.Lock()
	m.sent = append(m.sent, whole)
	m.sent = m.sent[max(0, len(m.sent)-most):]
	m.mu.Unlock()
	if m.opts.Received != nil {
		m.opts.Received(whole)
	}
}
