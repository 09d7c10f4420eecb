package views

import (
	"os"
	"path/filepath"
	"testing"

	"farbay/journal"
)

func floorFrame(title, path string) Frame {
	f := heronFrame(title, path)
	f.Person = &Who{Name: "Ines Varga", Role: journal.Floor}
	return f
}

// floorPages are all pages of the floor, by a name to look at them under.
func floorPages() map[string]Page {
	home := floorFrame("My day", "")
	home.Build, home.Path = nil, "/"
	stages := stagesOf(shopStages(6, 2))
	entry := journal.Entry{ID: "e1", BuildID: "h", StageID: "sh", AuthorID: "p2", Kind: journal.KindFind, Audience: journal.OwnerToo,
		Text: "Both floor pans are gone under the mats.\nThe left one is worse.", HappenedAt: ago(1), PostedAt: ago(1), SharedAt: ago(0), Version: 2}
	shown := shopJournal().Entries[0]
	shown.Photos = shopPhotos(5)
	history := []EntryWas{{Edit: journal.EntryEdit{EntryID: "e1", Version: 1, Kind: journal.KindProgress, Audience: journal.ShopOnly, Text: "Pans look bad.", At: ago(0)}, By: "Ines Varga", Stage: "Body metal"}}
	withdrawn := entry
	withdrawn.WithdrawnAt, withdrawn.WithdrawnWhy = ago(0), "Wrong build."
	photos := pickedPhotos(4)
	photos[1].Place = "7"
	office := heronFrame("Find", "/entries/e1")
	return map[string]Page{
		"floor-home": FloorHome{Frame: home, Builds: []FloorBuild{
			{Build: journal.Build{ID: "j", Nickname: "Juniper", Truck: journal.Truck{Year: 1966, Make: "Calder", Model: "one-ton"}}, Stages: shopStages(8, 1)},
			{Build: heron(), Stages: shopStages(6, 2), Mine: true, Loose: 3, Wants: []string{"Body metal: 6 more photos that the owner can see", "Body metal: Welds dressed"}}}},
		"floor-home-none": FloorHome{Frame: home},
		"capture":         Capture{Frame: home, Builds: []BuildRef{{ID: "h", Nickname: "Heron"}}},
		"entry-new":       EntryNew{Frame: floorFrame("New entry", "/entries/new"), Stages: stages, Loose: pickedPhotos(2)},
		"entry-new-wrong": EntryNew{Frame: floorFrame("New entry", "/entries/new"), Stages: stages, Form: EntryForm{Stage: "sa", Kind: "find", Audience: "owner too"},
			Problems: journal.Problems{"text": "Please write a line or add a photo.", "stage": "Please choose the stage this belongs to."},
			NotTaken: []string{"notes.pdf: this is no photo; JPEG, PNG and WebP are taken."}},
		"entry-edit": EntryEdit{Frame: floorFrame("Change this entry", "/entries/e1/edit"), Entry: entry, Stages: stages, Photos: photos,
			Form: EntryForm{Stage: "sh", Kind: "find", Audience: "owner too", Text: entry.Text, Version: 2}},
		"entry-find": StaffEntry{Frame: office, Entry: entry, Shown: shown, History: history, CanEdit: true,
			Papers: PaperList{Words: shopWords, BuildID: "h", Papers: staffBuild().Out}},
		"entry-floor":     StaffEntry{Frame: floorFrame("Find", "/entries/e1"), Entry: entry, Shown: shown, CanEdit: true, Problems: journal.Problems{"reason": "Please say why."}},
		"entry-withdrawn": StaffEntry{Frame: office, Entry: withdrawn, Shown: shown, WithdrawnBy: "Mara Lind"},
	}
}

// TestShopPreview writes the shop's pages beside those of TestPreview.
func TestShopPreview(t *testing.T) {
	dir := os.Getenv("FARBAY_PREVIEW")
	if dir == "" {
		t.Skip("FARBAY_PREVIEW names no folder to write the pages to")
	}
	set := mustNew(t)
	for _, pages := range []map[string]Page{officePages(), floorPages()} {
		for name, page := range pages {
			write(t, filepath.Join(dir, "shop-"+name+".html"), []byte(render(t, set, page)))
		}
	}
}
