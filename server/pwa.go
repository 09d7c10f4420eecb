package server

import (
	"encoding/json"
	"net/http"

	"github.com/labstack/echo/v4"
)

// manifest describes the capture page to phones that install it (W3C Web
// Application Manifest).
type manifest struct {
	ID              string         `json:"id"`
	Name            string         `json:"name"`
	ShortName       string         `json:"short_name"`
	Description     string         `json:"description"`
	Lang            string         `json:"lang"`
	StartURL        string         `json:"start_url"`
	Scope           string         `json:"scope"`
	Display         string         `json:"display"`
	BackgroundColor string         `json:"background_color"`
	ThemeColor      string         `json:"theme_color"`
	Icons           []manifestIcon `json:"icons"`
}

type manifestIcon struct {
	Src     string `json:"src"`
	Sizes   string `json:"sizes"`
	Type    string `json:"type"`
	Purpose string `json:"purpose"`
}

// manifestFile answers GET /manifest.webmanifest.
func (a *App) manifestFile(c echo.Context) error {
	shop, err := a.shop(c)
	if err != nil {
		return err
	}
	m := manifest{
		ID: "/capture", Name: shop.Name + ": photos", ShortName: "Photos", Description: "Take photos on the floor; they go to the shop when there is a link.",
		Lang: "en", StartURL: "/capture", Scope: "/", Display: "standalone", BackgroundColor: "#e8eae6", ThemeColor: "#e8eae6",
	}
	for _, icon := range []struct{ asset, sizes, kind, purpose string }{
		{"icon.svg", "any", "image/svg+xml", "any"}, {"icon-192.png", "192x192", "image/png", "any"}, {"icon-512.png", "512x512", "image/png", "any"},
		{"icon-maskable-192.png", "192x192", "image/png", "maskable"}, {"icon-maskable-512.png", "512x512", "image/png", "maskable"},
	} {
		src, err := a.views.Asset(icon.asset)
		if err != nil {
			return err
		}
		m.Icons = append(m.Icons, manifestIcon{src, icon.sizes, icon.kind, icon.purpose})
	}
	text, err := json.Marshal(m)
	if err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderCacheControl, "no-cache")
	return c.Blob(http.StatusOK, "application/manifest+json", text)
}

// serviceWorker answers GET /sw.js: the script that keeps the capture page on
// the phone. It stands at the root, as a worker has power over the addresses
// below its own (W3C Service Workers, "Path restriction"), and is asked for anew
// at every visit, so that a changed page is noticed.
func (a *App) serviceWorker(c echo.Context) error {
	script, kind, err := a.views.AssetFile("js/sw.js")
	if err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderCacheControl, "no-cache")
	return c.Blob(http.StatusOK, kind, script)
}
