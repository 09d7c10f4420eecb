package server

import "testing"

// A relying party's id is a domain, and browsers offer passkeys in secure contexts
// only (W3C Web Authentication Level 3, section 5.1.2; Secure Contexts, section
// 3.1).
func TestPasskeyHost(t *testing.T) {
	for address, want := range map[string]string{
		"https://portal.example": "portal.example", "https://Portal.Example:8443": "portal.example", "http://localhost:8085": "localhost",
		"http://shop.localhost": "shop.localhost", "https://localhost": "localhost",
		"http://portal.example": "", "https://192.0.2.7": "", "https://[2001:db8::7]": "", "http://127.0.0.1:8085": "", "http://notlocalhost": "",
		"": "", "https://": "", "://": "",
	} {
		if got := passkeyHost(address); got != want {
			t.Errorf("%q: %q, want %q", address, got, want)
		}
	}
}
