package views

// Capture is the page for taking photos with gloves on and a weak link. What is
// on it is filled in by its scripts, from what the phone knows, so that the same
// page opens without a link.
type Capture struct {
	Frame
	// Builds are those to choose from by the ordinary form when scripts are off;
	// none in the page that is kept on the phone.
	Builds []BuildRef
}

// Template names the page's template.
func (Capture) Template() string { return "floor/capture" }

// Fields are the kind and audience as a new entry begins.
func (Capture) Fields() EntryFields { return EntryFields{} }

var _ = declare(Capture{})
