package mqtt_test

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"undersheet/peer"
	"undersheet/sensor/mqtt"
)

// authority signs certificates for a test.
type authority struct {
	t    *testing.T
	dir  string
	cert *x509.Certificate
	key  *ecdsa.PrivateKey
	file string
	n    int64
}

func newAuthority(t *testing.T, name string) *authority {
	t.Helper()
	a := &authority{t: t, dir: t.TempDir()}
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	a.key = key
	template := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: name}, IsCA: true, BasicConstraintsValid: true,
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), KeyUsage: x509.KeyUsageCertSign}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	require.NoError(t, err)
	a.cert, err = x509.ParseCertificate(der)
	require.NoError(t, err)
	a.file = filepath.Join(a.dir, "ca.pem")
	writePEM(t, a.file, "CERTIFICATE", der)
	return a
}

// issue makes a certificate and key, valid until end.
func (a *authority) issue(name string, end time.Time) (cert, key string) {
	a.t.Helper()
	a.n++
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(a.t, err)
	template := &x509.Certificate{SerialNumber: big.NewInt(1 + a.n), Subject: pkix.Name{CommonName: name}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: time.Now().Add(-2 * time.Hour), NotAfter: end, KeyUsage: x509.KeyUsageDigitalSignature,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth}}
	der, err := x509.CreateCertificate(rand.Reader, template, a.cert, &k.PublicKey, a.key)
	require.NoError(a.t, err)
	pkcs8, err := x509.MarshalPKCS8PrivateKey(k)
	require.NoError(a.t, err)
	cert, key = filepath.Join(a.dir, fmt.Sprintf("%d.pem", a.n)), filepath.Join(a.dir, fmt.Sprintf("%d.key", a.n))
	writePEM(a.t, cert, "CERTIFICATE", der)
	writePEM(a.t, key, "PRIVATE KEY", pkcs8)
	return cert, key
}

func writePEM(t *testing.T, file, kind string, der []byte) {
	t.Helper()
	require.NoError(t, os.WriteFile(file, pem.EncodeToMemory(&pem.Block{Type: kind, Bytes: der}), 0o600))
}

func TestTLSWithClientCertificate(t *testing.T) {
	ca, other := newAuthority(t, "depot"), newAuthority(t, "elsewhere")
	hour := time.Now().Add(time.Hour)
	serverCert, serverKey := ca.issue("broker", hour)
	m := startMosquitto(t, "cafile "+ca.file, "certfile "+serverCert, "keyfile "+serverKey, "require_certificate true")
	good := config(m.address(), live)
	good.CA = ca.file
	good.Cert, good.Key = ca.issue("undersheet", hour)

	t.Run("good", func(t *testing.T) {
		sink := &memory{}
		run(t, good, sink)
		eventually(t, sink.up, "connected")
	})
	foreign := good
	foreign.Cert, foreign.Key = other.issue("undersheet", hour)
	none := good
	none.Cert, none.Key = "", ""
	mistrust := good
	mistrust.CA = other.file
	name := good
	name.Broker = fmt.Sprintf("tls://localhost:%d", m.port)
	plain := good
	plain.Broker, plain.CA, plain.Cert, plain.Key = fmt.Sprintf("tcp://127.0.0.1:%d", m.port), "", "", ""
	lost := good
	lost.CA = filepath.Join(ca.dir, "gone.pem")
	for what, c := range map[string]struct {
		cfg  mqtt.Config
		says string
	}{
		"certificate of another authority": {foreign, "refuses the client certificate"},
		"no client certificate":            {none, "asks for a client certificate"},
		"broker not trusted":               {mistrust, "give the certificate of the authority that signed it as ca"},
		"broker of another name":           {name, "is for another name"},
		"plain to a TLS port":              {plain, "needs tls://"},
		"no such file":                     {lost, "gone.pem"},
	} {
		t.Run(what, func(t *testing.T) { failsWith(t, c.cfg, c.says) })
	}
}

// failsWith runs a client until it tells why it cannot connect.
func failsWith(t *testing.T, cfg mqtt.Config, says string) {
	t.Helper()
	sink := &memory{}
	run(t, cfg, sink)
	eventually(t, func() bool { _, ok := sink.state(""); return ok }, "it is told")
	s, _ := sink.state("")
	require.False(t, s.OK)
	require.Contains(t, s.Detail, says)
	require.NotContains(t, s.Detail, "hush")
}

func TestExpiredBrokerCertificate(t *testing.T) {
	ca := newAuthority(t, "depot")
	cert, key := ca.issue("broker", time.Now().Add(-time.Hour))
	m := startMosquitto(t, "certfile "+cert, "keyfile "+key)
	cfg := config(m.address(), live)
	cfg.CA = ca.file
	failsWith(t, cfg, "has expired or is not valid yet")
}

func TestTLSToAPlainPort(t *testing.T) {
	m := startMosquitto(t)
	cfg := config(fmt.Sprintf("tls://127.0.0.1:%d", m.port), live)
	cfg.CA = newAuthority(t, "depot").file
	sink := &memory{}
	run(t, cfg, sink)
	eventually(t, func() bool { _, ok := sink.state(""); return ok }, "it is told")
	s, _ := sink.state("")
	require.False(t, s.OK, s.Detail)
}

func TestUserAndPassword(t *testing.T) {
	passwd := peer.Need(t, "mosquitto_passwd", "mosquitto")
	dir := t.TempDir()
	users, access := filepath.Join(dir, "users"), filepath.Join(dir, "access")
	require.NoError(t, exec.Command(passwd, "-b", "-c", users, "depot", "hush").Run())
	require.NoError(t, os.WriteFile(access, []byte("user depot\ntopic read live/#\n"), 0o600))
	m := startMosquitto(t, "allow_anonymous false", "password_file "+users, "acl_file "+access)

	cfg := config(m.address(), live)
	t.Run("no user", func(t *testing.T) { failsWith(t, cfg, "give user_env and password_env") })
	cfg.User, cfg.Password = "depot", "hush!"
	t.Run("wrong password", func(t *testing.T) { failsWith(t, cfg, `refuses user "depot": the user or the password is wrong`) })
	cfg.Password = "hush"
	t.Run("right password", func(t *testing.T) {
		sink := &memory{}
		run(t, cfg, sink)
		eventually(t, sink.up, "connected")
	})
}

// Mosquitto grants every subscription and then keeps the messages back; the
// broker in this process says no, as MQTT 3.1.1, section 3.9.3, provides.
func TestTopicNotAllowed(t *testing.T) {
	sink := &memory{}
	secret := mqtt.Source{Topic: "secret", QoS: 1, Decode: bare}
	address := inProcess(t)
	run(t, config(address, live, secret), sink)
	eventually(t, sink.up, "connected")
	s, told := sink.state("topic secret")
	require.True(t, told)
	require.False(t, s.OK)
	require.Contains(t, s.Detail, `the broker refuses the topic "secret"`)
	_, told = sink.state("topic live/#")
	require.False(t, told)
	newPublisher(t, address).publish("live/door", false, []byte("1"))
	eventually(t, func() bool { return len(sink.got()) == 1 }, "the others go on")
}
