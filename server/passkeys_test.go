package server_test

import (
	"bytes"
	"context"
	"crypto"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"encoding/base64"
	"encoding/binary"
	"encoding/json"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/go-webauthn/webauthn/protocol"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/server"
	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

// passkeyOrigin is where the browsers of these tests say they are.
const passkeyOrigin = "http://localhost:8085"

func atLocalhost(c *server.Config) { c.BaseURL = passkeyOrigin }

func base64url(b []byte) string { return base64.RawURLEncoding.EncodeToString(b) }

// authenticator is a device with one passkey, made after W3C Web Authentication
// Level 3, sections 6.1 (authenticator data), 6.5 (attestation) and 5.8.1 (client
// data); keys as in RFC 9053 sections 7.1 and 7.2 and RFC 8230 section 4.
type authenticator struct {
	id      []byte
	cose    []byte
	sign    func(data []byte) []byte
	counter uint32
}

func authenticators(t testing.TB) map[string]*authenticator {
	t.Helper()
	must := func(b []byte, err error) []byte {
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	ec, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	point := must(ec.PublicKey.Bytes())
	edPublic, ed, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	rs, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	join := func(parts ...[]byte) []byte { return bytes.Join(parts, nil) }
	return map[string]*authenticator{
		"ES256": {id: []byte("credential of the EC key"), cose: join([]byte{0xa5, 1, 2, 3, 0x26, 0x20, 1, 0x21, 0x58, 32}, point[1:33], []byte{0x22, 0x58, 32}, point[33:]),
			sign: func(data []byte) []byte {
				sum := sha256.Sum256(data)
				return must(ecdsa.SignASN1(rand.Reader, ec, sum[:]))
			}},
		"EdDSA": {id: []byte("credential of the Ed key"), cose: join([]byte{0xa4, 1, 1, 3, 0x27, 0x20, 6, 0x21, 0x58, 32}, edPublic),
			sign: func(data []byte) []byte { return ed25519.Sign(ed, data) }},
		"RS256": {id: []byte("credential of the RSA key"), cose: join([]byte{0xa4, 1, 3, 3, 0x39, 1, 0, 0x20, 0x59, 1, 0}, rs.N.Bytes(), []byte{0x21, 0x43, 1, 0, 1}),
			sign: func(data []byte) []byte {
				sum := sha256.Sum256(data)
				return must(rsa.SignPKCS1v15(rand.Reader, rs, crypto.SHA256, sum[:]))
			}},
	}
}

// asked is what the server answers when a ceremony begins.
type asked struct {
	Token     string
	PublicKey struct {
		Challenge, Attestation, UserVerification string
		AuthenticatorSelection                   struct{ ResidentKey, UserVerification string }
		PubKeyCredParams                         []struct{ Alg int }
		AllowCredentials, ExcludeCredentials     []struct{ ID string }
	}
}

func beginPasskey(t testing.TB, c *servertest.Client, path string, form url.Values) (a asked) {
	t.Helper()
	reply := tryPasskey(c, path, form).Status(http.StatusOK)
	if err := json.Unmarshal([]byte(reply.Body), &a); err != nil || a.Token == "" {
		t.Fatalf("%v in %s", err, reply.Body)
	}
	return a
}

func tryPasskey(c *servertest.Client, path string, form url.Values) *servertest.Reply {
	return c.Send(http.MethodPost, path, "application/x-www-form-urlencoded", strings.NewReader(form.Encode()),
		func(r *http.Request) { r.Header.Set("Accept", "application/json") })
}

// data is the authenticator data before any attested credential.
func (d *authenticator) data(flags byte) []byte {
	party := sha256.Sum256([]byte("localhost"))
	return binary.BigEndian.AppendUint32(append(party[:], flags), d.counter)
}

func clientData(t testing.TB, kind, challenge string) []byte {
	t.Helper()
	text, err := json.Marshal(map[string]any{"type": kind, "challenge": challenge, "origin": passkeyOrigin, "crossOrigin": false})
	if err != nil {
		t.Fatal(err)
	}
	return text
}

func (d *authenticator) reply(t testing.TB, response map[string]any) string {
	t.Helper()
	text, err := json.Marshal(map[string]any{"id": base64url(d.id), "rawId": base64url(d.id), "type": "public-key", "response": response, "clientExtensionResults": map[string]any{}})
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

// made answers the asking for a new passkey, without attestation.
func (d *authenticator) made(t testing.TB, a asked) string {
	t.Helper()
	data := d.data(0x40 | 0x05) // attested credential data, user present and verified
	data = append(data, make([]byte, 16)...)
	data = binary.BigEndian.AppendUint16(data, uint16(len(d.id)))
	data = append(append(data, d.id...), d.cose...)
	// {"fmt": "none", "attStmt": {}, "authData": data} in CBOR.
	object := append([]byte("\xa3\x63fmt\x64none\x67attStmt\xa0\x68authData\x59"), byte(len(data)>>8), byte(len(data)))
	return d.reply(t, map[string]any{"clientDataJSON": base64url(clientData(t, "webauthn.create", a.PublicKey.Challenge)), "attestationObject": base64url(append(object, data...))})
}

// confirms answers the asking to confirm, with the counter one up.
func (d *authenticator) confirms(t testing.TB, a asked) string {
	t.Helper()
	d.counter++
	data, client := d.data(0x05), clientData(t, "webauthn.get", a.PublicKey.Challenge)
	sum := sha256.Sum256(client)
	return d.reply(t, map[string]any{
		"clientDataJSON": base64url(client), "authenticatorData": base64url(data), "signature": base64url(d.sign(append(bytes.Clone(data), sum[:]...))),
	})
}

func (d *authenticator) addTo(t testing.TB, c *servertest.Client, name string) {
	t.Helper()
	a := beginPasskey(t, c, "/account/passkeys/ask", url.Values{"name": {name}})
	if a.PublicKey.Attestation != "none" && a.PublicKey.Attestation != "" || a.PublicKey.AuthenticatorSelection.ResidentKey != "discouraged" ||
		a.PublicKey.AuthenticatorSelection.UserVerification != "preferred" || len(a.PublicKey.PubKeyCredParams) != 3 {
		t.Errorf("asked for %+v", a.PublicKey)
	}
	c.Post("/account/passkeys", url.Values{"name": {name}, "passkey_token": {a.Token}, "passkey_answer": {d.made(t, a)}}).Redirects("/account#passkeys")
}

func TestPasskeys_AddSignRemove(t *testing.T) {
	s := servertest.New(t, atLocalhost)
	s.Consents(s.Owner)
	owner := s.As(s.Owner)
	owner.Get("/account").Status(http.StatusOK).Says("You need none").Check(htmlcheck.In(`form[data-passkey-add]`), htmlcheck.In(`script[src*="passkey.js"]`))
	seed := 1
	for kind, device := range authenticators(t) {
		t.Run(kind, func(t *testing.T) {
			full := s.Full("Build "+kind, s.Owner, seed)
			seed += 10
			at := "/builds/" + string(full.ID) + "/papers/" + string(full.Paper.ID)
			device.addTo(t, owner, "my "+kind)
			owner.Get("/account").Says("my " + kind).Says("not used yet")

			sign := formIn(t, owner.Get(at), at+"/sign")
			sign.Set("name", "Orla Wintle")
			sign.Set("parts_back", "no")
			confirm := owner.Post(at+"/sign", sign).Status(http.StatusOK).Says("Sign and confirm with my passkey")
			sure := formIn(t, confirm, at+"/sign")
			sure.Set("outcome", "signed")
			a := beginPasskey(t, owner, at+"/passkey", sure)
			if len(a.PublicKey.AllowCredentials) != 1 || a.PublicKey.UserVerification != "preferred" {
				t.Errorf("asked for %+v", a.PublicKey)
			}
			sure.Set("passkey_token", a.Token)
			sure.Set("passkey_answer", device.confirms(t, a))
			owner.Post(at+"/sign", sure).Status(http.StatusOK).Says("Signed. Thank you")
			// The same form once more is harmless, although its ask is used up.
			owner.Post(at+"/sign", sure).Status(http.StatusOK).Says("Signed. Thank you")

			d := decisionOf(t, s, full)
			proof, ok, err := d.PasskeyProof()
			if err != nil || !ok || proof.Name != "my "+kind || !proof.UserVerified || proof.PublicKey != base64url(device.cose) {
				t.Errorf("kept: %+v, %v", proof, err)
			}
			// What go-webauthn took, the standard library takes.
			if err := d.VerifyPasskey(); err != nil {
				t.Error(err)
			}
			id := base64url(device.id)
			owner.Get(at).Says("Confirmed with the passkey “my " + kind + "”")
			owner.Get("/account").Says("last used")
			owner.Post("/account/passkeys/"+id+"/end", nil).Redirects("/account#passkeys")
			owner.Get("/account").Check(htmlcheck.NotIn(`form[action="/account/passkeys/` + id + `/end"]`))
			owner.Post("/account/passkeys/"+id+"/end", nil).Status(http.StatusNotFound)
		})
	}
}

func decisionOf(t testing.TB, s *servertest.Server, full servertest.Full) (d signoff.Decision) {
	t.Helper()
	err := s.App.Steps().Store.Read(context.Background(), func(r flow.Reads) (err error) {
		d, err = r.Decision(full.Paper.ID)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// signing is an owner at the confirm step of a paper.
type signing struct {
	s      *servertest.Server
	owner  *servertest.Client
	device *authenticator
	full   servertest.Full
	at     string
	sure   url.Values
}

func atConfirm(t *testing.T) *signing {
	t.Helper()
	s := servertest.New(t, atLocalhost)
	s.Consents(s.Owner)
	g := &signing{s: s, owner: s.As(s.Owner), device: authenticators(t)["ES256"], full: s.Full("Heron", s.Owner, 1)}
	g.at = "/builds/" + string(g.full.ID) + "/papers/" + string(g.full.Paper.ID)
	g.device.addTo(t, g.owner, "my phone")
	sign := formIn(t, g.owner.Get(g.at), g.at+"/sign")
	sign.Set("name", "Orla Wintle")
	sign.Set("parts_back", "yes")
	g.sure = formIn(t, g.owner.Post(g.at+"/sign", sign).Status(http.StatusOK), g.at+"/sign")
	g.sure.Set("outcome", "signed")
	return g
}

func (g *signing) begun(t testing.TB) asked { return beginPasskey(t, g.owner, g.at+"/passkey", g.sure) }

// sent sends the form with an answer; what it was refused for must be said on
// the confirm page, with all that was typed.
func (g *signing) refused(t *testing.T, token, answer, says string) {
	t.Helper()
	sent := with(g.sure, "passkey_token", token, "passkey_answer", answer)
	page := g.owner.Post(g.at+"/sign", sent).Status(http.StatusConflict).Says(says).Says("Everything you typed is still here")
	back := formIn(t, page, g.at+"/sign")
	if back.Get("name") != sent.Get("name") || back.Get("parts_back") != "yes" || back.Get("passkey_token") != "" || back.Get("passkey_answer") != "" {
		t.Errorf("the form came back as %v", back)
	}
}

func TestPasskeys_Refusals(t *testing.T) {
	g := atConfirm(t)
	first := g.begun(t)
	g.refused(t, first.Token, "nonsense", "did not confirm it")
	g.refused(t, first.Token, g.device.confirms(t, first), "used already or is older than five minutes")

	second := g.begun(t)
	g.s.Clock.Pass(5 * time.Minute)
	g.refused(t, second.Token, g.device.confirms(t, second), "older than five minutes")

	// Another challenge than the act's, and another key's signature.
	third := g.begun(t)
	g.refused(t, third.Token, g.device.confirms(t, second), "did not confirm it")
	other := authenticators(t)["ES256"]
	other.counter = 50
	fourth := g.begun(t)
	g.refused(t, fourth.Token, other.confirms(t, fourth), "did not confirm it")
	other.id = []byte("a credential never added")
	fifth := g.begun(t)
	g.refused(t, fifth.Token, other.confirms(t, fifth), "not on your account")

	// Another name than was confirmed.
	sixth := g.begun(t)
	renamed := with(g.sure, "name", "O. Wintle", "passkey_token", sixth.Token, "passkey_answer", g.device.confirms(t, sixth))
	g.owner.Post(g.at+"/sign", renamed).Status(http.StatusConflict).Says("another name")

	// Sign was confirmed, and decline is sent.
	seventh := g.begun(t)
	declined := with(g.sure, "reason", "Too much.", "passkey_token", seventh.Token, "passkey_answer", g.device.confirms(t, seventh))
	g.owner.Post(g.at+"/decline", declined).Status(http.StatusConflict).Says("is not what this page sent")

	// What the passkey cannot be asked about.
	tryPasskey(g.owner, g.at+"/passkey", with(g.sure, "revision", "2")).Status(http.StatusConflict)
	tryPasskey(g.owner, g.at+"/passkey", with(g.sure, "name", "")).Status(http.StatusUnprocessableEntity)
	tryPasskey(g.owner, g.at+"/passkey", with(g.sure, "outcome", "burnt")).Status(http.StatusUnprocessableEntity)

	if events := eventsOf(t, g.s, g.full.ID, "paper signed"); len(events) != 0 {
		t.Errorf("recorded by refused acts: %+v", events)
	}
	// The plain way goes on.
	g.owner.Post(g.at+"/sign", g.sure).Status(http.StatusOK).Says("Signed. Thank you")
	if d := decisionOf(t, g.s, g.full); d.Passkey != "" {
		t.Errorf("the plain way holds %s", d.Passkey)
	}
}

// A counter that goes back tells of a copied key (W3C Web Authentication Level 3,
// section 6.1.1).
func TestPasskeys_CountsBackwards(t *testing.T) {
	g := atConfirm(t)
	g.device.counter = 7
	g.s.Clock.Pass(time.Second)
	other := g.s.Full("Juniper", g.s.Owner, 11)
	at := "/builds/" + string(other.ID) + "/papers/" + string(other.Paper.ID)
	form := formIn(t, g.owner.Get(at), at+"/sign")
	form.Set("name", "Orla Wintle")
	form.Set("parts_back", "no")
	sure := with(formIn(t, g.owner.Post(at+"/sign", form), at+"/sign"), "outcome", "signed")
	a := beginPasskey(t, g.owner, at+"/passkey", sure)
	g.owner.Post(at+"/sign", with(sure, "passkey_token", a.Token, "passkey_answer", g.device.confirms(t, a))).Status(http.StatusOK).Says("Signed. Thank you")

	for _, counter := range []uint32{2, 7} { // then 3, and 8 again
		g.device.counter = counter
		b := g.begun(t)
		g.refused(t, b.Token, g.device.confirms(t, b), "counted backwards")
	}
	events := eventsOf(t, g.s, g.full.ID, "passkey refused")
	if len(events) != 2 || !strings.Contains(events[0].Detail, `"counter_kept":8`) || !strings.Contains(events[0].Detail, `"counter_sent":3`) {
		t.Errorf("recorded: %+v", events)
	}
	g.device.counter = 8
	c := g.begun(t)
	g.owner.Post(g.at+"/sign", with(g.sure, "passkey_token", c.Token, "passkey_answer", g.device.confirms(t, c))).Status(http.StatusOK).Says("Signed. Thank you")
}

func eventsOf(t testing.TB, s *servertest.Server, build journal.BuildID, kind string) (found []journal.Event) {
	t.Helper()
	err := s.App.Steps().Store.Read(context.Background(), func(r flow.Reads) error {
		all, err := r.Events(build)
		for _, e := range all {
			if e.Kind == kind {
				found = append(found, e)
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// A passkey removed between asking and signing confirms nothing; another that
// was asked for too still does.
func TestPasskeys_RemovedMeanwhile(t *testing.T) {
	g := atConfirm(t)
	second := authenticators(t)["EdDSA"]
	second.addTo(t, g.owner, "the key on my ring")
	a, b := g.begun(t), g.begun(t)
	if len(a.PublicKey.AllowCredentials) != 2 {
		t.Errorf("asked for %+v", a.PublicKey.AllowCredentials)
	}
	g.owner.Post("/account/passkeys/"+base64url(g.device.id)+"/end", nil).Redirects("/account#passkeys")
	g.refused(t, a.Token, g.device.confirms(t, a), "not on your account any more")
	g.owner.Post(g.at+"/sign", with(g.sure, "passkey_token", b.Token, "passkey_answer", second.confirms(t, b))).Status(http.StatusOK).Says("Signed. Thank you")
}

func TestPasskeys_AddingRefused(t *testing.T) {
	s := servertest.New(t, atLocalhost)
	owner := s.As(s.Owner)
	device := authenticators(t)["ES256"]
	tryPasskey(owner, "/account/passkeys/ask", url.Values{"name": {" "}}).Status(http.StatusUnprocessableEntity)
	tryPasskey(s.As(s.Floor), "/account/passkeys/ask", url.Values{"name": {"mine"}}).Status(http.StatusForbidden)
	s.As(s.Office).Get("/account").Status(http.StatusOK).Check(htmlcheck.NotIn("#passkeys"))

	add := func(token, answer, says string) {
		t.Helper()
		page := owner.Post("/account/passkeys", url.Values{"name": {"my phone"}, "passkey_token": {token}, "passkey_answer": {answer}}).Status(http.StatusUnprocessableEntity).Says(says)
		page.Check(htmlcheck.In(`#f-name[value="my phone"]`))
	}
	a := beginPasskey(t, owner, "/account/passkeys/ask", url.Values{"name": {"my phone"}})
	add(a.Token, "", "made no passkey")
	add(a.Token, device.made(t, a), "used already")
	b := beginPasskey(t, owner, "/account/passkeys/ask", url.Values{"name": {"my phone"}})
	add(b.Token, device.made(t, a), "made no passkey") // another challenge
	// ES384, which is taken nowhere here (COSE algorithm -35, curve P-384).
	c := beginPasskey(t, owner, "/account/passkeys/ask", url.Values{"name": {"my phone"}})
	es384 := *device
	es384.cose = append(append([]byte{0xa5, 1, 2, 3, 0x38, 0x22, 0x20, 2, 0x21, 0x58, 48}, make([]byte, 48)...), append([]byte{0x22, 0x58, 48}, make([]byte, 48)...)...)
	add(c.Token, es384.made(t, c), "made no passkey")
	owner.Get("/account").Check(htmlcheck.NotIn(`#passkeys .plain-list`))
	device.addTo(t, owner, "my phone")
	d := beginPasskey(t, owner, "/account/passkeys/ask", url.Values{"name": {"twice"}})
	if len(d.PublicKey.ExcludeCredentials) != 1 || d.PublicKey.ExcludeCredentials[0].ID != base64url(device.id) {
		t.Errorf("not excluded: %+v", d.PublicKey.ExcludeCredentials)
	}
}

// Where browsers make no passkeys the page says so in one sentence (Web
// Authentication Level 3, section 13.4.9: a domain; Secure Contexts, 3.1: https
// or localhost).
func TestPasskeys_AddressNotFit(t *testing.T) {
	for address, fit := range map[string]bool{
		"": false, "http://127.0.0.1:8085": false, "http://portal.example": false, "http://[::1]:8085": false,
		"http://localhost:8085": true, "http://shop.localhost": true,
	} {
		s := servertest.New(t, func(c *server.Config) { c.BaseURL = address })
		owner := s.As(s.Owner)
		page := owner.Get("/account").Status(http.StatusOK)
		if fit {
			page.Check(htmlcheck.In("form[data-passkey-add]"))
			continue
		}
		page.Says("Passkeys cannot be used at this address").Check(htmlcheck.NotIn("form[data-passkey-add]"))
		tryPasskey(owner, "/account/passkeys/ask", url.Values{"name": {"mine"}}).Status(http.StatusConflict)
	}
}

// The library and the check by the standard library alone agree on answers good
// and spoilt, bit by bit.
func TestPasskeys_LibraryAgrees(t *testing.T) {
	for kind, device := range authenticators(t) {
		challenge := sha256.Sum256([]byte(kind))
		var a asked
		a.PublicKey.Challenge = base64url(challenge[:])
		var answer struct {
			Response map[string]string
		}
		if err := json.Unmarshal([]byte(device.confirms(t, a)), &answer); err != nil {
			t.Fatal(err)
		}
		agreed := 0
		for _, member := range []string{"", "authenticatorData", "clientDataJSON", "signature"} {
			raw, err := base64.RawURLEncoding.DecodeString(answer.Response[member])
			if err != nil {
				t.Fatal(err)
			}
			for bit := range max(1, len(raw)*8) {
				response := map[string]any{}
				for name, value := range answer.Response {
					response[name] = value
				}
				if member != "" {
					spoilt := bytes.Clone(raw)
					spoilt[bit/8] ^= 1 << (bit % 8)
					response[member] = base64url(spoilt)
				}
				var theirs error
				parsed, err := protocol.ParseCredentialRequestResponseBytes([]byte(device.reply(t, response)))
				if theirs = err; err == nil {
					theirs = parsed.Verify(a.PublicKey.Challenge, "localhost", "", []string{passkeyOrigin}, nil, nil, protocol.TopOriginExplicitVerificationMode, false, false, true, device.cose, protocol.SignaturePolicy{})
				}
				text := func(name string) string { return response[name].(string) }
				ours := signoff.PasskeyProof{
					PublicKey: base64url(device.cose), AuthenticatorData: text("authenticatorData"), ClientDataJSON: text("clientDataJSON"),
					Signature: text("signature"), UserVerified: true,
				}.Verify(challenge[:])
				if (ours == nil) != (theirs == nil) || (ours == nil) != (member == "") {
					t.Fatalf("%s, bit %d of %q: the library says %v, ours %v", kind, bit, member, theirs, ours)
				}
				agreed++
			}
		}
		if agreed < 1000 {
			t.Errorf("%s: only %d answers compared", kind, agreed)
		}
	}
}

// Signed out before the passkey is asked: what was typed is there again after
// signing in.
func TestPasskeys_SignedOutMeanwhile(t *testing.T) {
	g := atConfirm(t)
	g.s.Clock.Pass(400 * 24 * time.Hour)
	tryPasskey(g.owner, g.at+"/passkey", g.sure).Status(http.StatusUnauthorized)
	g.owner.Post(g.s.Link(g.s.Owner, g.at), nil).Redirects(g.at)
	if back := formIn(t, g.owner.Get(g.at).Status(http.StatusOK), g.at+"/sign"); back.Get("name") != "Orla Wintle" || back.Get("parts_back") != "yes" {
		t.Errorf("the form came back as %v", back)
	}
}
