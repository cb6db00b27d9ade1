package sms

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"
)

// start makes an open modem ready to send, but for the network.
func (m *Modem) start(ctx context.Context, t *talk) error {
	if err := t.clean(ctx); err != nil {
		return temporary(err)
	}
	for _, wish := range []string{"AT+CMEE=1", "AT+CREG=0"} { // codes in errors, no unsolicited registration: better, not needed
		if err := optional(t.ask(ctx, wish, "")); err != nil {
			return temporary(err)
		}
	}
	if err := m.openSIM(ctx, t); err != nil {
		return err
	}
	return m.setUp(ctx, t)
}

// optional passes over a refusal, and over an OK without an answer.
func optional(_ []string, err error) error {
	var refused *refusal
	if errors.As(err, &refused) || errors.Is(err, errBare) {
		return nil
	}
	return err
}

// setUp gives the settings that sending needs. They are given again before each
// message, for a modem that started anew by itself has forgotten them.
func (m *Modem) setUp(ctx context.Context, t *talk) error {
	mode := "AT+CMGF=0"
	if m.conf.Mode == ModeText {
		mode = "AT+CMGF=1"
	}
	commands := []string{mode}
	if m.conf.Centre != "" {
		kind := 129
		if strings.HasPrefix(m.conf.Centre, "+") {
			kind = 145
		}
		commands = append(commands, fmt.Sprintf(`AT+CSCA="%s",%d`, m.conf.Centre, kind))
	}
	for _, c := range commands {
		if _, err := t.ask(ctx, c, ""); err != nil {
			return notBegun(fmt.Errorf("set the modem up: %w", err))
		}
	}
	return nil
}

// openSIM sees that the SIM is open, with the PIN if it asks for one.
func (m *Modem) openSIM(ctx context.Context, t *talk) error {
	timer := time.NewTimer(m.opts.Register)
	defer timer.Stop()
	given, accepted := "", false // the PIN, and whether the modem took it
	for {
		state, err := m.askSIM(ctx, t)
		switch {
		case err != nil:
			return err
		case state == "SIM PIN" && given == "":
			if given, accepted, err = m.givePIN(ctx, t); err != nil {
				return err
			}
			continue
		case state == "SIM PIN" && !accepted:
			return m.refuse(ctx, t, given)
		case state != "SIM PIN" && state != "": // READY, or a PIN2 that sending does not need
			clear(m.refused)
			return nil
		}
		select { // the SIM starts, or reads the PIN
		case <-ctx.Done():
			return temporary(ctx.Err())
		case <-timer.C:
			if given != "" {
				return m.refuse(ctx, t, given)
			}
			return temporary(errors.New("the SIM stays busy"))
		case <-time.After(m.opts.Again):
		}
	}
}

// askSIM returns what the SIM asks for: "SIM PIN", or empty while it is busy, or
// anything else when it is open. What only a person can give is an error.
func (m *Modem) askSIM(ctx context.Context, t *talk) (string, error) {
	got, err := t.ask(ctx, "AT+CPIN?", "+CPIN:")
	var refused *refusal
	if errors.As(err, &refused) && refused.family == "CME" && refused.code == simBusy {
		return "", nil
	}
	if err != nil {
		return "", notBegun(fmt.Errorf("ask for the state of the SIM: %w", err))
	}
	state := strings.Trim(fields(got[0], "+CPIN")[0], `"`)
	switch {
	case state == "READY" || state == "SIM PIN" || strings.HasSuffix(state, "PIN2") || strings.HasSuffix(state, "PUK2"):
		return state, nil
	case state == "SIM PUK":
		return "", lasting(errors.New("the SIM is locked and asks for its PUK: put it into a telephone and give PUK and PIN there"))
	}
	return "", lasting(fmt.Errorf("the modem asks for %q, which only a person can give", state))
}

// mostPINs is how many different PINs one process tries where the modem does not
// tell how many tries are left.
const mostPINs = 2

// givePIN tries the PIN, unless it was refused before, and returns it and whether
// the modem took it.
func (m *Modem) givePIN(ctx context.Context, t *talk) (pin string, accepted bool, err error) {
	pin, err = m.pin()
	if err == nil {
		err = m.mayTry(ctx, t, pin)
	}
	if err != nil {
		return "", false, asLasting(err)
	}
	// Before it is sent: whatever happens from here on, it is not sent twice.
	m.refused[pin] = "the PIN was given before and the SIM still asks for it" + untilAnother
	_, err = t.ask(ctx, `AT+CPIN="`+pin+`"`, "")
	if err != nil {
		m.opts.Logger.Warn("give the PIN", "modem", m.conf.Port, "error", err)
	}
	return pin, err == nil, nil
}

// mayTry returns why a PIN is not to be tried; nil when it is.
func (m *Modem) mayTry(ctx context.Context, t *talk, pin string) error {
	switch {
	case pin == "":
		return errors.New("the SIM asks for its PIN: set sms.pin_file or sms.pin_env, or turn the PIN off in a telephone")
	case m.refused[pin] != "":
		return errors.New(m.refused[pin])
	}
	tries, err := triesLeft(ctx, t)
	switch {
	case err != nil:
		return temporary(err)
	case tries == 0 || tries == 1:
		return fmt.Errorf("the SIM asks for its PIN; tries left: %d, not used here: give the right PIN in a telephone, that restores them", tries)
	case tries < 0 && len(m.refused) >= mostPINs:
		return fmt.Errorf("%d PINs were refused and no other is tried: give the right PIN in a telephone", len(m.refused))
	}
	return nil
}

// untilAnother says what ends the refusal to try a PIN.
const untilAnother = "; put the right one into sms.pin_file or sms.pin_env: this one is not tried again"

// refuse words that the SIM still asks after it was given a PIN.
func (m *Modem) refuse(ctx context.Context, t *talk, pin string) error {
	left := "a SIM allows three wrong ones in a row"
	if n, err := triesLeft(ctx, t); err == nil && n >= 0 {
		left = fmt.Sprintf("tries left: %d", n)
	}
	m.refused[pin] = "the PIN was refused, " + left + untilAnother
	return lasting(errors.New(m.refused[pin]))
}

// triesLeft asks how often the PIN may still be tried; -1 when the modem does
// not say (TS 27.007, section 8.65: +CPINR is optional).
func triesLeft(ctx context.Context, t *talk) (int, error) {
	got, err := t.ask(ctx, `AT+CPINR="SIM PIN"`, "+CPINR:")
	if err := optional(got, err); err != nil {
		return -1, err
	}
	for _, line := range got {
		if n := readTries(line); n >= 0 {
			return n, nil
		}
	}
	return -1, nil
}
