package flow

import (
	"context"

	"farbay/journal"
)

// searchMost is how many entries a search shows.
const searchMost = 50

// maxSearchBytes bounds what is typed into a search.
const maxSearchBytes = 500

// SearchView is what a search of a build's journal found.
type SearchView struct {
	Build   journal.Build
	Stages  []journal.Stage
	Found   []EntryFound // newest first, at most 50
	More    bool         // there are more
	Photos  map[journal.PhotoID]journal.Photo
	Authors map[journal.PersonID]string // names
}

// Search finds entries of a build by the words of their text and captions, as
// the actor may see them: each word typed must occur, as the beginning of one;
// small and capital letters, and marks over letters, make no difference. No
// words find nothing. For anyone who may read the build; [journal.NotFound]
// otherwise.
func (s *Steps) Search(ctx context.Context, a Actor, build journal.BuildID, words string) (v SearchView, err error) {
	words = words[:min(len(words), maxSearchBytes)]
	err = s.Store.Read(ctx, func(r Reads) error {
		if v.Build, _, err = readable(r, a, build); err != nil {
			return err
		}
		if v.Stages, err = r.Stages(build); err != nil {
			return err
		}
		v.Found, err = r.SearchEntries(EntrySearch{BuildID: build, Words: words, Staff: a.Person.Role.Staff(), Limit: searchMost + 1})
		if err != nil {
			return err
		}
		if len(v.Found) > searchMost {
			v.Found, v.More = v.Found[:searchMost], true
		}
		var photos []journal.EntryPhoto
		v.Authors = map[journal.PersonID]string{}
		for _, f := range v.Found {
			photos = append(photos, f.Entry.Photos...)
			if err := nameAll(r, v.Authors, []journal.PersonID{f.Entry.AuthorID}); err != nil {
				return err
			}
		}
		v.Photos, err = photosSeen(r, a, build, photos)
		return err
	})
	return v, err
}
