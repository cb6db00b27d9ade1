package trust_test

import (
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"log"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"undersheet/trust"

	"github.com/stretchr/testify/require"
)

func TestSecret(t *testing.T) {
	t.Setenv("UNDERSHEET_TEST_SECRET", "hush")
	file := filepath.Join(t.TempDir(), "secret")
	require.NoError(t, os.WriteFile(file, []byte("hush \r\n"), 0o600))
	empty := file + ".empty"
	require.NoError(t, os.WriteFile(empty, []byte("\n"), 0o600))
	for _, c := range []struct{ env, file, want, fault string }{
		{},
		{env: "UNDERSHEET_TEST_SECRET", want: "hush"},
		{file: file, want: "hush "},
		{env: "UNDERSHEET_TEST_NO_SECRET", fault: `password_env: the environment variable "UNDERSHEET_TEST_NO_SECRET" is empty`},
		{file: file + ".gone", fault: "password_file: read secret: open "},
		{file: empty, fault: "password_file: the file "},
		{env: "UNDERSHEET_TEST_SECRET", file: file, fault: "password_env: give either password_env or password_file, not both"},
	} {
		got, err := trust.Secret("password", c.env, c.file)
		require.Equal(t, c.want, got)
		if c.fault == "" {
			require.NoError(t, err)
			continue
		}
		require.ErrorContains(t, err, c.fault)
		require.NotContains(t, err.Error(), "hush")
	}
}

func TestAuthorities(t *testing.T) {
	pool, err := trust.Authorities("")
	require.NoError(t, err)
	require.Nil(t, pool, "those that this machine trusts")
	path := filepath.Join(t.TempDir(), "ca.pem")
	_, err = trust.Authorities(path)
	require.ErrorContains(t, err, "ca: read certificates: open ")
	require.NoError(t, os.WriteFile(path, []byte("no PEM"), 0o600))
	_, err = trust.Authorities(path)
	require.ErrorContains(t, err, "holds no certificate in PEM form")
}

// 127.0.0.0/8 and ::1 are loopback (RFC 1122, section 3.2.1.3; RFC 4291, section
// 2.5.3), and so is the name localhost, whatever its case (RFC 6761, section 6.3).
// What is wrong with a certificate is found in real handshakes, through what a dialer wraps around it;
// what is no fault of a certificate is not.
func TestCertificate(t *testing.T) {
	server := httptest.NewUnstartedServer(nil)
	server.Config.ErrorLog = log.New(io.Discard, "", 0)
	server.StartTLS()
	defer server.Close()
	plain := httptest.NewServer(nil)
	defer plain.Close()
	known := x509.NewCertPool()
	known.AddCert(server.Certificate())
	late := func() time.Time { return server.Certificate().NotAfter.Add(time.Hour) }
	for name, c := range map[string]struct {
		at   *httptest.Server
		conf *tls.Config
		ca   string
		want string
	}{
		"right":             {server, &tls.Config{RootCAs: known}, "", ""},
		"no TLS":            {plain, &tls.Config{RootCAs: known}, "", ""},
		"unknown authority": {server, &tls.Config{RootCAs: x509.NewCertPool()}, "", "its certificate is signed by none of the authorities that this machine trusts"},
		"another authority": {server, &tls.Config{RootCAs: x509.NewCertPool()}, "/etc/ca.pem", `its certificate is signed by none of the authorities in ca "/etc/ca.pem"`},
		"another name":      {server, &tls.Config{RootCAs: known, ServerName: "mail.alder.example"}, "", "its certificate is for another name"},
		"expired":           {server, &tls.Config{RootCAs: known, Time: late}, "", "its certificate has expired"},
		"refused otherwise": {server, &tls.Config{RootCAs: known, VerifyConnection: func(tls.ConnectionState) error {
			return &tls.CertificateVerificationError{Err: errors.New("revoked")}
		}}, "", "its certificate is not accepted: revoked"},
	} {
		t.Run(name, func(t *testing.T) {
			conn, err := tls.Dial("tcp", c.at.Listener.Addr().String(), c.conf)
			if err == nil {
				conn.Close()
			}
			said := trust.Certificate(fmt.Errorf("connect: %w", err), c.ca)
			require.True(t, strings.HasPrefix(said, c.want) && (said == "") == (c.want == ""), said)
		})
	}
}

func TestLoopback(t *testing.T) {
	for _, here := range []string{"localhost", "LocalHost.", "127.0.0.1", "127.8.0.1", "::1", "::ffff:127.0.0.1"} {
		require.True(t, trust.Loopback(here), here)
	}
	for _, elsewhere := range []string{"", ".", "localhost.example", "128.0.0.1", "0.0.0.0", "::", "127.0.0.1:80", "[::1]", "0127.0.0.1", "127.1"} {
		require.False(t, trust.Loopback(elsewhere), elsewhere)
	}
}
