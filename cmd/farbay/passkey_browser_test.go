package main

import (
	"context"
	"net"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/webauthn"
	"github.com/chromedp/chromedp"

	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/server"
	"farbay/server/servertest"
)

// atLocalhost gives the server an address for which browsers make passkeys: a
// name, not a number.
func atLocalhost(t *testing.T) servertest.Option {
	t.Helper()
	free, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	address := free.Addr().String()
	if err := free.Close(); err != nil {
		t.Fatal(err)
	}
	_, port, err := net.SplitHostPort(address)
	if err != nil {
		t.Fatal(err)
	}
	return func(c *server.Config) { c.Addr, c.BaseURL = address, "http://localhost:"+port }
}

// devtools sends one command of the browser's protocol to the window.
func devtools[P, R any](w *window, what string, c cdp.Command[P, R], params P) R {
	w.t.Helper()
	return ask(w, what, func(ctx context.Context, t *chromedp.Target) (R, error) { return cdp.Call(ctx, t, c, params) })
}

// An owner adds a passkey to their account and signs with it on a phone-sized
// screen. The device is Chromium's virtual authenticator (W3C Web Authentication
// Level 3, section 11.2), with a platform's own key and a user who is verified.
func TestPasskey_OnAPhone(t *testing.T) {
	b := newBrowser(t)
	s := servertest.New(t, atLocalhost(t))
	s.Consents(s.Owner)
	full := s.Full("Heron", s.Owner, 1)
	owner := b.window("the owner", s.App.URL())
	owner.open(s.Link(s.Owner, "/account"))
	devtools(owner, "has a device", webauthn.Enable, webauthn.EnableParams{})
	device := devtools(owner, "has a device", webauthn.AddVirtualAuthenticator, webauthn.AddVirtualAuthenticatorParams{Options: &webauthn.VirtualAuthenticatorOptions{
		Protocol: "ctap2", Transport: "internal", HasResidentKey: true, HasUserVerification: true, IsUserVerified: true, AutomaticPresenceSimulation: true,
	}}).AuthenticatorID
	owner.press("Enter")
	owner.sees("You need none")
	owner.fill("name", "my phone")
	owner.press("Add a passkey")
	owner.sees("The passkey “my phone” is added", "not used yet")
	held := devtools(owner, "looks into the device", webauthn.GetCredentials, webauthn.GetCredentialsParams{AuthenticatorID: device}).Credentials
	if len(held) != 1 || held[0].RpID != "localhost" {
		t.Fatalf("the device holds %+v", held)
	}
	// The same device once more.
	owner.fill("name", "my phone again")
	owner.do("adds it again", chromedp.Click(chromedp.Search(`//button[.="Add a passkey"]`)))
	owner.waits("This device has a passkey for this page already, so none was added.")

	owner.open("/builds/" + string(full.ID) + "/papers/" + string(full.Paper.ID))
	owner.choose("Yes, keep them for me")
	owner.fill("name", "Orla Wintle")
	owner.press("I agree to this change")
	owner.sees("Sign and confirm with my passkey", "Yes, I sign it")
	// The device has lost the key: nothing is recorded, and nothing is lost.
	devtools(owner, "loses the key", webauthn.ClearCredentials, webauthn.ClearCredentialsParams{AuthenticatorID: device})
	owner.do("tries", chromedp.Click(chromedp.CSS("[data-passkey-sign]")))
	owner.waits("The passkey did not confirm it, so nothing is recorded. What you typed is still here")
	// Without the members that this Chromium refuses even when they are false.
	found := map[string]any{"credentialId": held[0].CredentialID, "isResidentCredential": held[0].IsResidentCredential, "rpId": "localhost",
		"privateKey": held[0].PrivateKey, "userHandle": held[0].UserHandle, "signCount": held[0].SignCount}
	devtools(owner, "finds the key", cdp.Command[map[string]any, cdp.Empty]{Method: webauthn.CommandAddCredential}, map[string]any{"authenticatorId": device, "credential": found})
	// The device signs wrongly: the server says so on the same page.
	yes := true
	devtools(owner, "has a bad day", webauthn.SetResponseOverrideBits, webauthn.SetResponseOverrideBitsParams{AuthenticatorID: device, IsBogusSignature: &yes})
	owner.press("Sign and confirm with my passkey")
	owner.sees("The passkey did not confirm it. Nothing was recorded", "Everything you typed is still here")
	devtools(owner, "has a good day", webauthn.SetResponseOverrideBits, webauthn.SetResponseOverrideBitsParams{AuthenticatorID: device})
	owner.press("Sign and confirm with my passkey")
	owner.sees("Signed. Thank you")

	var d signoff.Decision
	err := s.App.Steps().Store.Read(context.Background(), func(r flow.Reads) (err error) {
		d, err = r.Decision(full.Paper.ID)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	proof, ok, err := d.PasskeyProof()
	if err != nil || !ok || proof.Name != "my phone" || !proof.UserVerified || d.TypedName != "Orla Wintle" || !d.PartsBack {
		t.Errorf("the decision holds %+v, %v", d, err)
	}
	if err := d.VerifyPasskey(); err != nil {
		t.Error(err)
	}

	owner.open("/account")
	owner.sees("last used")
	owner.press("Remove it")
	owner.sees("The passkey is removed")
	devtools(owner, "switches scripts off", emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	owner.do("opens the account", chromedp.Navigate(s.App.URL()+"/account"))
	owner.sees("Adding a passkey needs scripts, which are switched off in this browser.")
}
