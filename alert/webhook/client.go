package webhook

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"strings"
	"syscall"

	"undersheet/logbook"
	"undersheet/trust"
)

// mostHeader bounds the header of an answer, in bytes.
const mostHeader = 64 << 10

// newHook checks one webhook of the site file, at path. Each fault begins with its field.
func newHook(path string, c logbook.Webhook) (*hook, error) {
	var errName error
	if c.Name == "" {
		errName = errors.New("name: is missing")
	}
	u, errURL := checkURL(c.URL)
	roots, errRoots := trust.Authorities(c.CA)
	_, errSecret := readSecret(c)
	var faults []error
	for _, err := range []error{errName, errURL, errRoots, errSecret} {
		if err != nil {
			faults = append(faults, fmt.Errorf("%s.%w", path, err))
		}
	}
	if len(faults) > 0 {
		return nil, errors.Join(faults...)
	}
	return &hook{conf: c, address: u.Scheme + "://" + u.Host + u.EscapedPath(), client: newClient(u, roots)}, nil
}

// checkURL reads the address of a webhook. Errors do not show its query.
func checkURL(s string) (*url.URL, error) {
	u, err := url.Parse(s)
	switch {
	case err != nil || u.Scheme != "http" && u.Scheme != "https" || u.Hostname() == "" || u.Fragment != "":
		return nil, errors.New("url: want https://host/path, or http:// for a server on this machine")
	case u.User != nil:
		return nil, errors.New("url: secrets never stand in a site file, not in an address either: take user and password out")
	case u.Scheme == "http" && !trust.Loopback(u.Hostname()):
		return nil, fmt.Errorf("url: http to %q would cross the network in the clear: use https", u.Host)
	}
	return u, nil
}

// checkSource reports why s cannot be the source of events.
func checkSource(s string) error {
	u, err := url.Parse(s)
	if s == "" || err != nil || u.String() != s || strings.ContainsAny(s, " \t\r\n") {
		return fmt.Errorf("source: %q is no URI reference (RFC 3986): use the one that Source makes of the site's name", s)
	}
	return nil
}

// newClient makes the client of one webhook. Connections are not kept: one that
// is reused may be half dead, and the transport would then send again by itself.
func newClient(u *url.URL, roots *x509.CertPool) *http.Client {
	dial, proxy := &net.Dialer{}, http.ProxyFromEnvironment
	if u.Scheme == "http" {
		dial.Control, proxy = onlyHere, nil
	}
	return &http.Client{
		Transport: &http.Transport{
			Proxy:                  proxy,
			DialContext:            dial.DialContext,
			TLSClientConfig:        &tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS12},
			DisableKeepAlives:      true,
			DisableCompression:     true, // no bombs
			MaxResponseHeaderBytes: mostHeader,
		},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}

// onlyHere refuses connections that leave this computer, whatever a name was
// resolved to.
func onlyHere(_, address string, _ syscall.RawConn) error {
	host, _, err := net.SplitHostPort(address)
	if ip := net.ParseIP(host); err != nil || ip == nil || !ip.IsLoopback() {
		return fmt.Errorf("%s is not on this machine: unencrypted messages stay here", address)
	}
	return nil
}
