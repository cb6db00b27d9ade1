// Package trust holds what connections to other machines rest on: secrets, which a
// site file names but never holds, and the certificates of authorities. Read both
// anew for each connection, so that they can be renewed while the program runs.
// [Certificate] says why the other side is not trusted.
//
// Its errors begin with the key of the site file, and never show a secret.
package trust

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net/netip"
	"os"
	"strings"
)

// Secret returns what stands in the environment variable env or in file, whichever
// is named; "" when neither is. Line ends at the end of a file do not count. key is
// that of the site file without its ending: "password" for password_env and
// password_file.
func Secret(key, env, file string) (string, error) {
	switch {
	case env != "" && file != "":
		return "", fmt.Errorf("%s_env: give either %[1]s_env or %[1]s_file, not both", key)
	case env != "":
		s := os.Getenv(env)
		if s == "" {
			return "", fmt.Errorf("%s_env: the environment variable %q is empty: set it for this process", key, env)
		}
		return s, nil
	case file != "":
		b, err := os.ReadFile(file)
		if err != nil {
			return "", fmt.Errorf("%s_file: read secret: %w", key, err)
		}
		s := strings.TrimRight(string(b), "\r\n")
		if s == "" {
			return "", fmt.Errorf("%s_file: the file %q is empty", key, file)
		}
		return s, nil
	}
	return "", nil
}

// Authorities reads the certificates, in PEM form, that vouch for a server; nil, for
// those that this machine trusts, when ca is empty.
func Authorities(ca string) (*x509.CertPool, error) {
	if ca == "" {
		return nil, nil
	}
	pem, err := os.ReadFile(ca)
	if err != nil {
		return nil, fmt.Errorf("ca: read certificates: %w", err)
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(pem) {
		return nil, fmt.Errorf("ca: %q holds no certificate in PEM form", ca)
	}
	return pool, nil
}

// Certificate says what is wrong with the certificate that a server showed, and what to do; "" where
// err is of something else, or nil. ca is the file of authorities that it was held against; empty: those
// that this machine trusts. What it says comes again until somebody puts it right.
func Certificate(err error, ca string) string {
	var authority x509.UnknownAuthorityError
	var host x509.HostnameError
	var invalid x509.CertificateInvalidError
	var verify *tls.CertificateVerificationError
	switch {
	case errors.As(err, &authority):
		trusted := "the authorities that this machine trusts"
		if ca != "" {
			trusted = fmt.Sprintf("the authorities in ca %q", ca)
		}
		return fmt.Sprintf("its certificate is signed by none of %s: give the certificate of the authority that signed it as ca", trusted)
	case errors.As(err, &host):
		return fmt.Sprintf("its certificate is for another name: use a name that is in it (%v)", host)
	case errors.As(err, &invalid) && invalid.Reason == x509.Expired:
		return "its certificate has expired or is not valid yet: check this machine's date, then renew the certificate"
	case errors.As(err, &invalid):
		return fmt.Sprintf("its certificate is not accepted: %v", invalid)
	case errors.As(err, &verify):
		return fmt.Sprintf("its certificate is not accepted: %v", verify.Err)
	}
	return ""
}

// Loopback reports whether host, a name or an address without a port, is this machine
// by its very name: only to it may a connection go unencrypted.
func Loopback(host string) bool {
	if strings.EqualFold(strings.TrimSuffix(host, "."), "localhost") {
		return true
	}
	ip, err := netip.ParseAddr(host)
	return err == nil && ip.Unmap().IsLoopback()
}
