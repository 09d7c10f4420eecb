package server

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/go-webauthn/webauthn/protocol"
	"github.com/go-webauthn/webauthn/protocol/webauthncose"
	"github.com/go-webauthn/webauthn/webauthn"
	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/views"
)

// passkeyKinds are the kinds of key that are taken: those whose signatures the
// standard library checks, see [signoff.PasskeyProof].
var passkeyKinds = []protocol.CredentialParameter{
	{Type: protocol.PublicKeyCredentialType, Algorithm: webauthncose.AlgES256},
	{Type: protocol.PublicKeyCredentialType, Algorithm: webauthncose.AlgEdDSA},
	{Type: protocol.PublicKeyCredentialType, Algorithm: webauthncose.AlgRS256},
}

// passkeyHost returns the host that passkeys for an address belong to (the
// relying party's id); "" when browsers make none there: over http, except on
// the machine itself, and where the host is a number.
//
// Source: W3C Web Authentication Level 3, section 13.4.9, and Secure Contexts,
// section 3.1.
func passkeyHost(address string) string {
	u, err := url.Parse(address)
	if err != nil {
		return ""
	}
	host := strings.ToLower(u.Hostname())
	local := host == "localhost" || strings.HasSuffix(host, ".localhost")
	if net.ParseIP(host) != nil || u.Scheme != "https" && !local {
		return ""
	}
	return host
}

// passkeyParty returns the library set up for the address people use.
// [journal.Conflict] if there are no passkeys for it.
func (a *App) passkeyParty(c echo.Context) (*webauthn.WebAuthn, error) {
	host := passkeyHost(a.URL())
	if host == "" {
		return nil, journal.Errorf(journal.Conflict, "Passkeys do not work at this address. Please go on without one.")
	}
	shop, err := a.shop(c)
	if err != nil {
		return nil, err
	}
	return webauthn.New(&webauthn.Config{
		RPID: host, RPDisplayName: shop.Name, RPOrigins: []string{a.URL()}, AttestationPreference: protocol.PreferNoAttestation,
		AuthenticatorSelection: protocol.AuthenticatorSelection{
			ResidentKey: protocol.ResidentKeyRequirementDiscouraged, UserVerification: protocol.VerificationPreferred,
		},
	})
}

// passkeyUser is a person with their passkeys, as the library asks for them.
type passkeyUser struct {
	person      journal.Person
	credentials []webauthn.Credential
}

func (u passkeyUser) WebAuthnID() []byte                         { return []byte(u.person.ID) }
func (u passkeyUser) WebAuthnName() string                       { return u.person.Email }
func (u passkeyUser) WebAuthnDisplayName() string                { return u.person.Name }
func (u passkeyUser) WebAuthnCredentials() []webauthn.Credential { return u.credentials }

func userWith(p journal.Person, keys []journal.Passkey) (passkeyUser, error) {
	u := passkeyUser{person: p}
	for _, key := range keys {
		var credential webauthn.Credential
		if err := json.Unmarshal([]byte(key.Credential), &credential); err != nil {
			return u, fmt.Errorf("server: passkey %s: %w", key.ID, err)
		}
		u.credentials = append(u.credentials, credential)
	}
	return u, nil
}

// passkeyAsk is what is kept of a ceremony under way.
type passkeyAsk struct {
	Session *webauthn.SessionData `json:"session"`
	Nonce   string                `json:"nonce"` // "" when a passkey is added
}

// askPasskey keeps the ask and answers with its token and what the browser is to
// ask the passkey: {"token": ..., "publicKey": {...}}.
func (a *App) askPasskey(c echo.Context, subject string, ask passkeyAsk, options any) error {
	data, err := json.Marshal(ask)
	if err != nil {
		return err
	}
	token, err := newToken()
	if err != nil {
		return err
	}
	if err := a.steps.KeepPasskeyAsk(c.Request().Context(), actor(c), token, subject, string(data)); err != nil {
		return err
	}
	return c.JSON(http.StatusOK, map[string]any{"token": token, "publicKey": options})
}

// takeAsk uses the ask up that a form names.
func (a *App) takeAsk(c echo.Context, token, subject string) (ask passkeyAsk, err error) {
	data, err := a.steps.TakePasskeyAsk(c.Request().Context(), actor(c), token, subject)
	if err != nil {
		return ask, err
	}
	if err := json.Unmarshal([]byte(data), &ask); err != nil || ask.Session == nil {
		return ask, fmt.Errorf("server: a passkey ask cannot be read: %w", err)
	}
	return ask, nil
}

func base64url(b []byte) string { return base64.RawURLEncoding.EncodeToString(b) }

// accountPasskeyAsk begins adding a passkey. POST /account/passkeys/ask: name
func (a *App) accountPasskeyAsk(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	party, err := a.passkeyParty(c)
	if err != nil {
		return err
	}
	keys, err := a.steps.CanAddPasskey(c.Request().Context(), actor(c), f.line("name"))
	if err != nil {
		return err
	}
	user, err := userWith(of(c).person, keys)
	if err != nil {
		return err
	}
	creation, session, err := party.BeginRegistration(user,
		webauthn.WithExclusions(webauthn.Credentials(user.credentials).CredentialDescriptors()), webauthn.WithCredentialParameters(passkeyKinds))
	if err != nil {
		return err
	}
	return a.askPasskey(c, "", passkeyAsk{Session: session}, creation.Response)
}

// accountPasskeyAdd keeps the passkey that the device made.
// POST /account/passkeys: name, passkey_token, passkey_answer
func (a *App) accountPasskeyAdd(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	made, err := a.madePasskey(c, f)
	if err == nil {
		err = a.steps.AddPasskey(c.Request().Context(), actor(c), made)
	}
	if journal.CodeOf(err) == journal.Conflict {
		err = journal.Problems{"name": journal.MessageOf(err)}.Err()
	}
	if bad, other := problems(err); other == nil && len(bad) > 0 {
		return a.showAccount(c, http.StatusUnprocessableEntity, f.raw("name"), bad)
	}
	if err != nil {
		return err
	}
	return a.done(c, "/account#passkeys", "The passkey “"+made.Name+"” is added. You are asked for it only if you choose to, when you sign.")
}

// madePasskey checks what the device made.
func (a *App) madePasskey(c echo.Context, f *form) (made flow.NewPasskey, err error) {
	made.Name = f.line("name")
	unfit := func(cause error) error {
		return &journal.Error{Code: journal.Conflict, Err: cause,
			Message: "The device made no passkey that can be used here. Nothing was added; please try again, or try another device. You can sign without one."}
	}
	party, err := a.passkeyParty(c)
	if err != nil {
		return made, err
	}
	ask, err := a.takeAsk(c, f.raw("passkey_token"), "")
	if err != nil {
		return made, err
	}
	answer, err := protocol.ParseCredentialCreationResponseBytes([]byte(f.raw("passkey_answer")))
	if err != nil {
		return made, unfit(err)
	}
	credential, err := party.CreateCredential(passkeyUser{person: of(c).person}, *ask.Session, answer)
	if err != nil {
		return made, unfit(err)
	}
	if err := signoff.CheckPasskeyKey(credential.PublicKey); err != nil {
		return made, unfit(err)
	}
	text, err := json.Marshal(credential)
	made.ID, made.PublicKey, made.Credential = base64url(credential.ID), base64url(credential.PublicKey), string(text)
	return made, err
}

// accountPasskeyEnd removes a passkey. POST /account/passkeys/:passkey/end
func (a *App) accountPasskeyEnd(c echo.Context) error {
	if err := a.steps.EndPasskey(c.Request().Context(), actor(c), c.Param("passkey")); err != nil {
		return err
	}
	return a.done(c, "/account#passkeys", "The passkey is removed and confirms nothing here any more. What it confirmed stays confirmed. Your device may still list it; you can delete it there.")
}

// passkeySection is what the account page says of passkeys.
func (a *App) passkeySection(c echo.Context, name string, bad journal.Problems) (s views.PasskeySection, err error) {
	s = views.PasskeySection{Fit: passkeyHost(a.URL()) != "", Name: name, Problems: bad, Most: flow.MaxPasskeys}
	keys, err := a.steps.Passkeys(c.Request().Context(), actor(c))
	for _, k := range keys {
		s.Lines = append(s.Lines, views.PasskeyLine{ID: k.ID, Name: k.Name, AddedAt: k.AddedAt, UsedAt: k.UsedAt})
	}
	return s, err
}

// hasPasskey reports whether the person could confirm with a passkey here.
func (a *App) hasPasskey(c echo.Context) (bool, error) {
	if passkeyHost(a.URL()) == "" {
		return false, nil
	}
	keys, err := a.steps.Passkeys(c.Request().Context(), actor(c))
	return len(keys) > 0, err
}

// paperPasskeyAsk begins confirming a decision with a passkey.
// POST /builds/:build/papers/:paper/passkey: as .../sign, and outcome
func (a *App) paperPasskeyAsk(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	party, err := a.passkeyParty(c)
	if err != nil {
		return err
	}
	nonce, err := newToken()
	if err != nil {
		return err
	}
	in := decideInput(f, signoff.Outcome(f.line("outcome")))
	act, err := a.steps.PasskeyAct(c.Request().Context(), actor(c), of(c).build.ID, paperID(c), in, nonce)
	if err != nil {
		return err
	}
	user, err := userWith(of(c).person, act.Keys)
	if err != nil {
		return err
	}
	assertion, session, err := party.BeginLogin(user, webauthn.WithChallenge(act.Challenge))
	if err != nil {
		return err
	}
	return a.askPasskey(c, act.Subject, passkeyAsk{Session: session, Nonce: nonce}, assertion.Response)
}

// passkeyAnswer checks what a passkey answered with a decision's form; nil when
// the form has no answer.
func (a *App) passkeyAnswer(c echo.Context, f *form, in flow.DecideInput) (*flow.PasskeyAnswer, error) {
	if f.raw("passkey_token") == "" {
		return nil, nil
	}
	ctx := c.Request().Context()
	ask, err := a.takeAsk(c, f.raw("passkey_token"), flow.PasskeySubject(paperID(c), in))
	if err != nil {
		return nil, err
	}
	party, err := a.passkeyParty(c)
	if err != nil {
		return nil, err
	}
	keys, err := a.steps.Passkeys(ctx, actor(c))
	if err != nil {
		return nil, err
	}
	unfit := func(cause error) error {
		return &journal.Error{Code: journal.Conflict, Err: cause,
			Message: "The passkey did not confirm it. Nothing was recorded; please try again, or sign without the passkey."}
	}
	answer, err := protocol.ParseCredentialRequestResponseBytes([]byte(f.raw("passkey_answer")))
	if err != nil {
		return nil, unfit(err)
	}
	i := slices.IndexFunc(keys, func(k journal.Passkey) bool { return k.ID == base64url(answer.RawID) })
	if i < 0 {
		return nil, flow.PasskeyGone()
	}
	user, err := userWith(of(c).person, keys)
	if err != nil {
		return nil, err
	}
	// The library refuses the whole ask when one of several passkeys that it
	// named has been removed since; the others are still good.
	ask.Session.AllowedCredentialIDs = slices.DeleteFunc(ask.Session.AllowedCredentialIDs, func(id []byte) bool {
		return !slices.ContainsFunc(keys, func(k journal.Passkey) bool { return k.ID == base64url(id) })
	})
	before := user.credentials[i].Authenticator.SignCount
	credential, err := party.ValidateLogin(user, *ask.Session, answer)
	if err != nil {
		return nil, unfit(err)
	}
	if credential.Authenticator.CloneWarning {
		return nil, a.steps.RefuseCopiedPasskey(ctx, actor(c), of(c).build.ID, paperID(c), keys[i].ID, before, answer.Response.AuthenticatorData.Counter)
	}
	after, err := json.Marshal(credential)
	if err != nil {
		return nil, err
	}
	sent := answer.Raw.AssertionResponse
	return &flow.PasskeyAnswer{Before: keys[i].Credential, After: string(after), Proof: signoff.PasskeyProof{
		Credential: keys[i].ID, PublicKey: base64url(credential.PublicKey), AuthenticatorData: base64url(sent.AuthenticatorData),
		ClientDataJSON: base64url(sent.ClientDataJSON), Signature: base64url(sent.Signature), Nonce: ask.Nonce,
		UserVerified: answer.Response.AuthenticatorData.Flags.HasUserVerified(),
	}}, nil
}

// passkeyRefused answers a decision whose passkey was refused: with the page it
// was sent from, as long as the paper can be decided; nothing typed is lost.
func (a *App) passkeyRefused(c echo.Context, f *form, in flow.DecideInput, why error) error {
	v, err := a.steps.PaperPage(c.Request().Context(), actor(c), of(c).build.ID, paperID(c))
	if err != nil {
		return err
	}
	if v.Decision == nil {
		if err := v.Standing(in); err != nil {
			return a.ownerPaper(c, http.StatusConflict, decideForm(f), journal.MessageOf(err))
		}
		return a.showConfirm(c, http.StatusConflict, f, in.Outcome, journal.Problems{"passkey": journal.MessageOf(why)})
	}
	// It is decided, perhaps by this same form sent twice, whose ask is used up.
	in.Passkey = nil
	d, err := a.steps.Decide(c.Request().Context(), actor(c), of(c).build.ID, paperID(c), in)
	if err != nil {
		return a.ownerPaper(c, http.StatusConflict, decideForm(f), journal.MessageOf(err))
	}
	return a.decided(c, d)
}
