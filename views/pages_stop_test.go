package views

import (
	"strings"
	"testing"

	"farbay/journal"
)

func givenEnding(paper string) *EndingView {
	return &EndingView{Words: givenWords, BuildID: "b1", On: "2026-04-14", Reason: "The owner moves abroad.", Paper: paper, PaperID: journal.PaperID(strings.ToLower(paper)), Back: 183750}
}

// stopPages are the pages of builds that ended early, and of stages dropped.
func stopPages() map[string]Page {
	stopped := staffBuild()
	stopped.Stored.State, stopped.Stored.StoppedOn, stopped.Ending = journal.Stopped, "2026-04-14", givenEnding("Early stop 1")
	stopped.Stages[3].Dropped = "change order 4"
	dropped := staffStage(journal.Closed)
	dropped.Dropped, dropped.Stage.ClosedAt = "change order 4", ago(1)
	dropped.Turns = []TurnLine{{Turn: journal.Turn{To: journal.Closed, Reason: "Dropped by Change order 4, No liner.", At: ago(1)}, By: "Ada Lindqvist"}}
	left := staffStage(journal.UnderWay)
	left.Stopped = true
	form := BuildStop{Frame: heronFrame("End the build early", "/stop"), Stored: heron(), Form: StopForm{On: "2026-04-14", Version: 3}}
	wrong := form
	wrong.PaperID, wrong.Form.Reason, wrong.Problems = "c9", "No answer.", journal.Problems{"stop_on": "That day is still to come; please record the end once it is there."}
	return map[string]Page{
		"build-stopped": stopped, "stage-dropped": dropped, "stage-stopped": left, "build-stop": form, "build-stop-wrong": wrong,
		"builds-stopped":     Builds{Frame: officeFrame("Builds", "/builds"), Stopped: []journal.Build{{ID: "k", Nickname: "Kestrel", Truck: journal.Truck{Make: "Tolland"}, StoppedOn: "2025-11-02"}}},
		"build-edit-stopped": BuildEdit{Frame: heronFrame("Truck", "/edit"), Stored: stopped.Stored},
	}
}

// What stands of an ending, in words for its readers.
func TestEnding_Says(t *testing.T) {
	set := mustNew(t)
	for name, c := range map[string]struct {
		page Page
		says []string
		not  string
	}{
		"signed":    {OwnerBuild{Frame: frameAt("/builds/b1", "Heron", journal.Owner), Plate: NewPlate(givenWords, givenBuild), State: journal.Stopped, Ending: givenEnding("Early stop 1")}, []string{"Ended early, on 14 April", "Early stop 1", "not owed", "$1,837.50"}, "Nobody has signed"},
		"unsigned":  {OwnerBuild{Frame: frameAt("/builds/b1", "Heron", journal.Owner), Plate: NewPlate(givenWords, givenBuild), State: journal.Stopped, Ending: givenEnding("")}, []string{"Nobody has signed", "is not billed", "no legal advice"}, "not owed"},
		"dropped":   {stopPages()["stage-dropped"], []string{"dropped by change order 4", "Nothing is billed for it", "Dropped by Change order 4, No liner."}, "Reopen this stage"},
		"left open": {stopPages()["stage-stopped"], []string{"The build was stopped"}, "Tick it"},
		"again":     {BuildStop{Frame: heronFrame("End the build early", "/stop"), Stored: journal.Build{State: journal.Stopped}}, []string{"Write the early stop"}, "does not sign"},
		"settled":   {Papers{Frame: frameAt("/builds/b1/papers", "Papers", journal.Office), Agreed: true, State: journal.Stopped, Settled: true}, []string{"Papers"}, "Begin a paper"},
		"to settle": {Papers{Frame: frameAt("/builds/b1/papers", "Papers", journal.Office), Agreed: true, State: journal.Stopped}, []string{"Early stop"}, "Change order"},
		"goes on":   {Papers{Frame: frameAt("/builds/b1/papers", "Papers", journal.Office), Agreed: true, State: journal.Agreed}, []string{"End the build early"}, "build agreement"},
	} {
		html := plain(render(t, set, c.page))
		for _, text := range c.says {
			if !strings.Contains(html, text) {
				t.Errorf("%s does not say %q", name, text)
			}
		}
		if strings.Contains(html, c.not) {
			t.Errorf("%s says %q", name, c.not)
		}
	}
}
