package server

import (
	"net/http"
	"net/url"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/views"
)

// compareAddress is where a photo is compared with another, to be chosen first
// among those of its stage; "" while it has nothing to show.
func compareAddress(p journal.Photo, stage journal.StageID) string {
	if !p.Pictured() {
		return ""
	}
	return compareURL(p.BuildID, p.ID, "", stage)
}

func compareURL(build journal.BuildID, a, b journal.PhotoID, stage journal.StageID) string {
	q := url.Values{}
	for name, value := range map[string]string{"a": string(a), "b": string(b), "stage": string(stage)} {
		if value != "" {
			q.Set(name, value)
		}
	}
	return "/builds/" + string(build) + "/compare?" + q.Encode()
}

// compare shows two photos of a build over one another, the first by capture
// on the left, or the photos to choose from while one of them is not named.
// GET /builds/:build/compare?a=&b=&stage=
func (a *App) compare(c echo.Context) error {
	one, two := journal.PhotoID(c.QueryParam("a")), journal.PhotoID(c.QueryParam("b"))
	v, err := a.steps.Compare(c.Request().Context(), actor(c), of(c).build.ID, one, two, journal.StageID(c.QueryParam("stage")))
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Compare")
	if err != nil {
		return err
	}
	if v.A == nil || v.B == nil {
		return a.show(c, http.StatusOK, comparePick(f, v))
	}
	before, after := v.A, v.B
	if after.Photo.CapturedAt.Before(before.Photo.CapturedAt) {
		before, after = after, before
	}
	side := func(p *flow.ComparePhoto) views.CompareSide {
		return views.CompareSide{
			Photo: views.NewPhotoView(f.Words, p.Photo, p.Caption, ""), Stage: stageName(v.Stages, p.StageID),
			Change: compareURL(v.Build.ID, other(v, p).Photo.ID, "", p.StageID),
		}
	}
	return a.show(c, http.StatusOK, views.Compare{Frame: f, Before: side(before), After: side(after)})
}

func other(v flow.CompareView, p *flow.ComparePhoto) *flow.ComparePhoto {
	if p == v.A {
		return v.B
	}
	return v.A
}

// comparePick is the page to choose a photo on.
func comparePick(f views.Frame, v flow.CompareView) views.ComparePick {
	page := views.ComparePick{Frame: f, StageID: v.StageID}
	chosen := v.A
	if chosen == nil {
		chosen = v.B
	}
	var id journal.PhotoID
	if chosen != nil {
		id = chosen.Photo.ID
		photo := views.NewPhotoView(f.Words, chosen.Photo, chosen.Caption, "")
		page.Chosen, page.Back = &photo, views.Link{Text: "Back to the photo", Href: photo.Page()}
	}
	for _, st := range v.Stages {
		page.Stages = append(page.Stages, views.Link{Text: st.Name, Href: compareURL(v.Build.ID, id, "", st.ID), Current: st.ID == v.StageID})
	}
	for _, p := range v.Pick {
		offer := views.CompareOffer{Photo: views.NewPhotoView(f.Words, p, "", ""), Href: compareURL(v.Build.ID, p.ID, "", v.StageID)}
		if id != "" {
			offer.Href = compareURL(v.Build.ID, id, p.ID, "")
		}
		page.Offers = append(page.Offers, offer)
	}
	return page
}
