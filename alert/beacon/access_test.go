package beacon

import (
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"math/big"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"undersheet/logbook"
	"undersheet/peer"
)

// TestAccessIsMissing: a broker drops what it does not allow without a word
// (MQTT 3.1.1, 3.3.5); it must not pass unnoticed.
func TestAccessIsMissing(t *testing.T) {
	for _, access := range []string{"write", "read"} {
		t.Run(access+" only", func(t *testing.T) {
			list := filepath.Join(t.TempDir(), "acl")
			require.NoError(t, os.WriteFile(list, []byte("topic "+access+" undersheet/#\n\nuser panel\ntopic readwrite #\n"), 0o600))
			m := startMosquitto(t, "acl_file "+list)
			p := newPanel(t, m.address())
			o := quick()
			o.Timeout = 300 * time.Millisecond
			b, _ := light(t, m.address(), newDepot(state("shut")), o)
			eventually(t, func() bool { return strings.Contains(b.Status().Trouble, "access list") }, "it is told")
			require.True(t, b.Status().Connected)
			p.sync()
			require.Equal(t, access == "write", p.last(gateOfTwo) != "", "what may be published is")
		})
	}
}

// issue makes a certificate for 127.0.0.1 that vouches for itself.
func issue(t *testing.T) (cert, key string) {
	t.Helper()
	k, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	c := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "broker"}, IsCA: true, BasicConstraintsValid: true,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature, ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth, x509.ExtKeyUsageClientAuth}}
	der, err := x509.CreateCertificate(rand.Reader, c, c, &k.PublicKey, k)
	require.NoError(t, err)
	pkcs8, err := x509.MarshalPKCS8PrivateKey(k)
	require.NoError(t, err)
	dir := t.TempDir()
	cert, key = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	require.NoError(t, os.WriteFile(cert, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600))
	require.NoError(t, os.WriteFile(key, pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: pkcs8}), 0o600))
	return cert, key
}

func TestTLSAndPassword(t *testing.T) {
	cert, key := issue(t)
	dir := t.TempDir()
	list, good, bad, user := filepath.Join(dir, "list"), filepath.Join(dir, "good"), filepath.Join(dir, "bad"), filepath.Join(dir, "user")
	require.NoError(t, exec.Command(peer.Need(t, "mosquitto_passwd", "mosquitto"), "-b", "-c", list, "depot", "s3cret").Run())
	for file, text := range map[string]string{good: "s3cret\n", bad: "gu3ss\n", user: "depot\n"} {
		require.NoError(t, os.WriteFile(file, []byte(text), 0o600))
	}
	m := startMosquitto(t, "allow_anonymous false", "password_file "+list, "certfile "+cert, "keyfile "+key, "cafile "+cert, "require_certificate true")
	conf := logbook.Beacon{Broker: "tls://" + m.host(), CA: cert, Cert: cert, Key: key, UserFile: user, PasswordFile: good}
	start := func(c logbook.Beacon) *Beacon {
		b, err := New(c, "Kivuma depot", newDepot(state("shut")), quick())
		require.NoError(t, err)
		run(t, b)
		return b
	}
	b := start(conf)
	eventually(t, func() bool { return b.Status().Connected && b.Status().Published == 3 }, "it is there")

	wrong := conf
	wrong.PasswordFile, wrong.ClientID = bad, "other"
	b = start(wrong)
	eventually(t, func() bool { return b.Status().Trouble != "" }, "it is told")
	require.NotContains(t, b.Status().Trouble, "gu3ss")
	require.NoError(t, os.WriteFile(bad, []byte("s3cret\n"), 0o600))
	eventually(t, func() bool { return b.Status().Connected }, "a password put right is read anew")

	stranger := conf
	stranger.CA, stranger.ClientID = "", "third"
	b = start(stranger)
	eventually(t, func() bool { return strings.Contains(b.Status().Trouble, "certificate") }, "it trusts no unknown broker")
	require.False(t, b.Status().Connected)
}

// TestSilentBroker takes the connection and says nothing: a stop does not wait
// for it.
func TestSilentBroker(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	o := quick()
	o.Timeout = time.Hour
	b, stop := light(t, "tcp://"+l.Addr().String(), newDepot(state("shut")), o)
	c, err := l.Accept()
	require.NoError(t, err)
	defer c.Close()
	_, err = c.Read(make([]byte, 1)) // it has connected and waits for the answer
	require.NoError(t, err)
	began := time.Now()
	stop()
	require.Less(t, time.Since(began), 3*time.Second)
	require.False(t, b.Status().Connected)

	o.Timeout = 100 * time.Millisecond
	b, stop = light(t, "tcp://"+l.Addr().String(), newDepot(state("shut")), o)
	eventually(t, func() bool { return b.Status().Trouble != "" }, "the silence is told")
	stop()
}

// TestTwoOfOneName: the broker throws one out when the other comes (MQTT 3.1.1,
// 3.1.4); it is told what to look for.
func TestTwoOfOneName(t *testing.T) {
	m := startMosquitto(t)
	o := quick()
	o.First = time.Hour // it does not come back
	b, _ := light(t, m.address(), newDepot(state("shut")), o)
	eventually(t, func() bool { return b.Status().Connected }, "it is there")
	c := paho.NewClient(paho.NewClientOptions().AddBroker(m.address()).SetClientID(b.conf.ClientID).SetProtocolVersion(4).SetAutoReconnect(false))
	require.True(t, c.Connect().WaitTimeout(patience))
	defer c.Disconnect(50)
	eventually(t, func() bool { return strings.Contains(b.Status().Trouble, "client_id") && !b.Status().Connected }, "it is told")
}

func TestRunEndsBeforeItBegins(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	b, err := New(logbook.Beacon{Broker: "tcp://127.0.0.1:1"}, "depot", newDepot(state("shut")), quick())
	require.NoError(t, err)
	require.NoError(t, b.Run(ctx))
}
