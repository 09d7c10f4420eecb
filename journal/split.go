package journal

// LineKind says what an amount is for. Tax rates go by it.
type LineKind string

const (
	Labour   LineKind = "labour"
	Parts    LineKind = "parts"
	Outside  LineKind = "outside work"
	Delivery LineKind = "delivery"
	Other    LineKind = "other"
)

// LineKinds lists all kinds in the order they are shown.
var LineKinds = []LineKind{Labour, Parts, Outside, Delivery, Other}

// Valid reports whether k is one of [LineKinds].
func (k LineKind) Valid() bool {
	for _, known := range LineKinds {
		if k == known {
			return true
		}
	}
	return false
}

// Split is an amount divided by line kind. The zero value is nothing.
type Split struct {
	Labour, Parts, Outside, Delivery, Other Cents
}

// Of returns the part of one kind; 0 for an unknown kind.
func (s Split) Of(k LineKind) Cents {
	if p := s.part(k); p != nil {
		return *p
	}
	return 0
}

// Plus returns s with amount added to one kind; s itself for an unknown kind.
func (s Split) Plus(k LineKind, amount Cents) Split {
	if p := s.part(k); p != nil {
		*p += amount
	}
	return s
}

// Add returns the sum of s and t, kind by kind.
func (s Split) Add(t Split) Split {
	for _, k := range LineKinds {
		s = s.Plus(k, t.Of(k))
	}
	return s
}

// Total returns the sum over all kinds.
func (s Split) Total() Cents {
	return s.Labour + s.Parts + s.Outside + s.Delivery + s.Other
}

func (s *Split) part(k LineKind) *Cents {
	switch k {
	case Labour:
		return &s.Labour
	case Parts:
		return &s.Parts
	case Outside:
		return &s.Outside
	case Delivery:
		return &s.Delivery
	case Other:
		return &s.Other
	}
	return nil
}
