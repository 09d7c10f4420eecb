package flow

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"farbay/journal"
	"farbay/journal/prooflog"
)

// Kept is a signed checkpoint that somebody kept outside the database.
type Kept struct {
	From string // such as the name of a file; it stands in the fault
	Note []byte
}

// CheckLog is the part of [Steps.Check] that re-reads the proof log: each event
// against its leaf in the tree, the tree against its leaves, and both against
// every checkpoint ever given out and those that somebody kept. It takes 128
// bytes of memory an event.
func (s *Steps) CheckLog(ctx context.Context, kept ...Kept) (faults []Fault, n Checked, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		faults, _, err = checkLog(ctx, r, &n, kept)
		return err
	})
	return faults, n, err
}

// Continues reports whether the record is a continuation of the one that a kept
// checkpoint was signed for, without reading all of it: it trusts the stored
// tree, which [Steps.Check] does not. size is the checkpoint's, or 0 if it cannot
// be opened; the fault has no text if all is well.
func (s *Steps) Continues(ctx context.Context, k Kept) (size int64, f Fault, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		keys, err := r.LogKeys()
		if err != nil {
			return err
		}
		events, err := r.LogSize()
		if err != nil {
			return err
		}
		head, err := prooflog.OpenCheckpoint(k.Note, publicOf(keys)...)
		if err != nil {
			f = incomparable(k, err)
			return nil
		}
		size = head.Size
		same := false
		if size <= events {
			now, err := prooflog.Head(head.Origin, size, r.LogHashes())
			same = err == nil && now == head // a tree that cannot be read continues nothing
		}
		if !same {
			f = Fault{"", k.From, rewritten(0, size, events, k.name(size))}
		}
		return nil
	})
	return size, f, err
}

func (k Kept) name(size int64) string {
	return fmt.Sprintf("the checkpoint of %d events in %s", size, k.From)
}

func incomparable(k Kept, err error) Fault {
	return Fault{"", k.From, fmt.Sprintf(
		"The checkpoint in %s cannot be compared: it is not whole, is of another log, or was signed with a key that this record does not know, as after an old copy of the database was put back (%v).", k.From, err)}
}

func publicOf(keys []LogKey) []string {
	public := make([]string, 0, len(keys))
	for _, k := range keys {
		public = append(public, k.Public)
	}
	return public
}

// maxWrong bounds how many events that do not match their leaves are kept in
// memory, to find out what became of them; the rest is counted.
const maxWrong = 10_000

// logCheck is a check of the proof log under way.
type logCheck struct {
	r      Reads
	stored []prooflog.Hash // the tree as it is stored, up to the first gap
	again  nodes           // the tree that the events make, up to the first one missing
	logged int64           // how many events the stored tree is of
	next   int64           // the number that the next event has
	whole  int64           // how many events from the first on are there and can be read
	places []place
	counts map[string]int // of faults of one sort: only the first is told, and how many there are

	wrong     []prooflog.Entry // the first events that do not match their leaves
	differing int              // how many there are
	said      *said
}

// place is a bad place in the log.
type place struct {
	seq   int64
	sort  string
	fault Fault
}

func (p place) rank() int {
	if p.sort == "rewritten" || strings.HasPrefix(p.sort, "kept ") {
		return 1
	}
	return 0
}

// at notes the bad place of a sort; the events come in order, so the first one
// noted is the first there is.
func (c *logCheck) at(seq int64, sort string, build string, text string, args ...any) {
	c.counts[sort]++
	if c.counts[sort] == 1 {
		c.places = append(c.places, place{seq, sort, fault(journal.BuildID(build), fmt.Sprint(seq), text, args...)})
	}
}

// checkLog compares the record of events with the tree, and both with every
// checkpoint. The faults come in the order of the log. said is what the events
// say, for the comparison with the tables they speak of.
func checkLog(ctx context.Context, r Reads, n *Checked, kept []Kept) ([]Fault, *said, error) {
	c := &logCheck{r: r, next: 1, counts: map[string]int{}, said: newSaid()}
	if err := c.readTree(); err != nil {
		return nil, nil, err
	}
	err := r.EachLogEntry(func(e prooflog.Entry, broken error) error {
		n.Events++
		if n.Events%1000 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		return c.entry(e, broken)
	})
	if err != nil {
		return nil, nil, err
	}
	c.ends()
	signed, err := c.checkpoints(n, kept)
	if err != nil {
		return nil, nil, err
	}
	c.unmatched(signed)
	c.innerNodes()
	// What is known of one event comes before what is known of all up to it.
	slices.SortStableFunc(c.places, func(a, b place) int {
		return cmp.Or(cmp.Compare(a.seq, b.seq), cmp.Compare(a.rank(), b.rank()))
	})
	var faults []Fault
	for _, p := range c.places {
		if more := c.counts[p.sort] - 1; more > 0 {
			p.fault.Text += fmt.Sprintf(" The same holds for %d more after it.", more)
		}
		faults = append(faults, p.fault)
	}
	checkKeys(c.said, func(b journal.BuildID, subject, text string, args ...any) {
		faults = append(faults, fault(b, subject, text, args...))
	})
	return faults, c.said, nil
}

func (c *logCheck) readTree() error {
	err := c.r.EachLogNode(func(at int64, hash []byte) error {
		var h prooflog.Hash
		if at != int64(len(c.stored)) || copy(h[:], hash) != len(h) {
			return errStopped
		}
		c.stored = append(c.stored, h)
		return nil
	})
	if err != nil && !errors.Is(err, errStopped) {
		return err
	}
	// The entry whose nodes come first after those that are there.
	at := int64(len(c.stored))
	for low, high := int64(0), at; low < high; {
		if middle := (low + high + 1) / 2; prooflog.Stored(middle) <= at {
			low = middle
		} else {
			high = middle - 1
		}
		c.logged = low
	}
	if errors.Is(err, errStopped) || at != prooflog.Stored(c.logged) {
		c.at(c.logged+1, "tree", "", "The proof log's tree is not whole: its node %d is missing or no hash. It is one of the nodes of event %d, and nothing after it can be compared.", at, c.logged+1)
	}
	return nil
}

var errStopped = errors.New("stopped")

// entry compares one event with its leaf.
func (c *logCheck) entry(e prooflog.Entry, broken error) error {
	switch {
	case e.Seq < c.next:
		c.at(e.Seq, "number", e.Build, "%s has a number that no event has; the row was put in past the program.", named(e))
		return nil
	case e.Seq > c.next:
		c.missing(c.next, e.Seq-1, named(e)+" follows")
	}
	c.next = e.Seq + 1
	var b []byte
	if broken == nil {
		b, broken = e.Bytes()
	}
	if broken != nil {
		c.at(e.Seq, "unreadable", e.Build, "%s is not what the program writes, so it was changed: %v.", named(e), broken)
		return nil
	}
	c.said.hear(e)
	leaf := prooflog.Leaf(b)
	if e.Seq > c.logged {
		c.at(e.Seq, "beyond", e.Build, "%s is in the record and not in the proof log's tree; the row was put in past the program, or the tree was cut.", named(e))
	} else if c.stored[prooflog.Stored(e.Seq-1)] != leaf {
		if len(c.wrong) < maxWrong {
			c.wrong = append(c.wrong, e)
		}
		c.differing++
	}
	if c.whole != e.Seq-1 {
		return nil
	}
	c.whole++
	return c.again.grow(e.Seq-1, leaf)
}

func (c *logCheck) missing(from, to int64, after string) {
	which := fmt.Sprintf("Event %d is", from)
	if to > from {
		which = fmt.Sprintf("Events %d to %d are", from, to)
	}
	c.at(from, "missing", "", "%s missing from the record: %s.", which, after)
}

// ends compares where the record ends with where the tree does.
func (c *logCheck) ends() {
	if c.next <= c.logged {
		c.missing(c.next, c.logged, fmt.Sprintf("the proof log's tree counts %d events, and the record ends with number %d", c.logged, c.next-1))
	}
}

// unmatched says what became of the first event that does not match its leaf.
// signed is up to which event the record is what a checkpoint was signed for.
func (c *logCheck) unmatched(signed int64) {
	if len(c.wrong) == 0 {
		return
	}
	first := c.wrong[0]
	from, fits := c.numberOf(first)
	now, kept := c.rowOf(first.Seq)
	name, more := named(first), c.differing-1
	text := ""
	switch {
	case first.Seq <= signed:
		text = fmt.Sprintf("The leaf of %s in the proof log's tree was changed; the event itself is what was signed for.", name)
	case fits && kept && from == now.Seq:
		text = fmt.Sprintf("%s stands in the place of another: events %d and %d were swapped.", name, first.Seq, from)
		more--
	case fits && !kept:
		text = fmt.Sprintf("%s is what was recorded as number %d: the event that was number %d was removed, and rows after it were numbered anew.", name, from, first.Seq)
	case kept && !fits:
		text = fmt.Sprintf("%s was put in later: what was recorded as number %d stands now as number %d.", name, first.Seq, now.Seq)
	case fits:
		text = fmt.Sprintf("%s is what was recorded as number %d: events were put in another order.", name, from)
	default:
		text = fmt.Sprintf("%s was changed after it was recorded: it does not match its leaf in the proof log's tree.", name)
	}
	if more > 0 {
		text += fmt.Sprintf(" In all %d events do not match their leaves.", c.differing)
	}
	c.places = append(c.places, place{first.Seq, "wrong", fault(journal.BuildID(first.Build), fmt.Sprint(first.Seq), "%s", text)})
}

// numberOf finds the number under which an event was recorded.
func (c *logCheck) numberOf(e prooflog.Entry) (int64, bool) {
	own := e.Seq
	for seq := int64(1); seq <= c.logged && seq <= own+maxWrong; seq++ {
		if e.Seq = seq; seq != own && c.matches(e) {
			return seq, true
		}
	}
	return 0, false
}

// rowOf finds among the events that do not match theirs the one that was
// recorded under a number.
func (c *logCheck) rowOf(seq int64) (row prooflog.Entry, found bool) {
	for _, row := range c.wrong {
		as := row
		if as.Seq = seq; row.Seq != seq && c.matches(as) {
			return row, true
		}
	}
	return row, false
}

// matches reports whether an event matches the leaf of its number.
func (c *logCheck) matches(e prooflog.Entry) bool {
	b, err := e.Bytes()
	return err == nil && c.stored[prooflog.Stored(e.Seq-1)] == prooflog.Leaf(b)
}

// innerNodes compares the nodes above the leaves. Where an event does not match
// its leaf, those above it do not either, and that has been said.
func (c *logCheck) innerNodes() {
	for at := range min(len(c.again.all), len(c.stored)) {
		if c.again.all[at] == c.stored[at] {
			continue
		}
		if first, last := prooflog.Under(int64(at)); first < last {
			c.at(first, "inner", "", "The proof log's tree was changed: the node over the events %d to %d is not what these make.", first, last)
		}
		return
	}
}

// checkpoints compares the record with every checkpoint, and returns the
// greatest size that one of them vouches for.
func (c *logCheck) checkpoints(n *Checked, kept []Kept) (signed int64, err error) {
	keys, err := c.r.LogKeys()
	if err != nil {
		return 0, err
	}
	public := publicOf(keys)
	for _, k := range keys {
		c.said.keys[k.Public] = k
	}
	given, err := c.r.Checkpoints()
	if err != nil {
		return 0, err
	}
	var differs []SignedCheckpoint
	for _, g := range given {
		n.Checkpoints++
		head, err := prooflog.OpenCheckpoint(g.Note, public...)
		if err == nil && head.Size != g.Size {
			err = fmt.Errorf("it is of %d entries", head.Size)
		}
		if err != nil {
			c.at(g.Size, "checkpoint", "", "The checkpoint of %d events, given out at %s, is not as it was signed: %v.", g.Size, clock(g.At), err)
			continue
		}
		same, err := c.continues(head)
		if err != nil {
			return 0, err
		}
		if !same {
			differs = append(differs, g)
		} else if len(differs) == 0 {
			signed = g.Size
		}
	}
	if len(differs) > 0 {
		g := differs[0]
		c.counts["rewritten"] = len(differs)
		c.places = append(c.places, place{g.Size, "rewritten", Fault{"", fmt.Sprint(g.Size), rewritten(signed, g.Size, c.next-1,
			fmt.Sprintf("the checkpoint of %d events, given out at %s,", g.Size, clock(g.At)))}})
	}
	for _, k := range kept {
		n.Kept++
		if err := c.kept(k, public, signed); err != nil {
			return 0, err
		}
	}
	return signed, nil
}

// continues reports whether the record is a continuation of the one that was
// signed for.
func (c *logCheck) continues(signed prooflog.Checkpoint) (bool, error) {
	if signed.Size > c.whole {
		return false, nil
	}
	now, err := prooflog.Head(signed.Origin, signed.Size, &c.again)
	return now == signed, err
}

// rewritten says what it means that the record does not continue a checkpoint.
// Up to the event good another checkpoint vouches for it.
// The record ends with the event last.
func rewritten(good, size, last int64, checkpoint string) string {
	if size > last {
		return fmt.Sprintf("The record is not the one that %s was signed for: it ends with event %d, so %d of the signed events are missing, as after an old copy of the database was put back.",
			checkpoint, last, size-last)
	}
	where := fmt.Sprintf("in event %d", size)
	if good+1 < size {
		where = fmt.Sprintf("in events %d to %d", good+1, size)
	}
	return fmt.Sprintf("The record is not the one that %s was signed for: %s something was changed, removed or put in since.", checkpoint, where)
}

func (c *logCheck) kept(k Kept, public []string, signed int64) error {
	head, err := prooflog.OpenCheckpoint(k.Note, public...)
	if err != nil {
		c.places = append(c.places, place{0, "kept " + k.From, incomparable(k, err)})
		return nil
	}
	same, err := c.continues(head)
	if err != nil || same {
		return err
	}
	if signed >= head.Size {
		signed = 0 // another record was signed for at that time
	}
	c.places = append(c.places, place{head.Size, "kept " + k.From, Fault{"", k.From, rewritten(signed, head.Size, c.next-1, k.name(head.Size))}})
	return nil
}

// named names an event for people.
func named(e prooflog.Entry) string {
	if e.At.IsZero() {
		return fmt.Sprintf("event %d (%s)", e.Seq, e.Kind)
	}
	return fmt.Sprintf("event %d (%s, %s)", e.Seq, e.Kind, clock(e.At))
}

func clock(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05 UTC") }

// nodes is a tree in memory: 64 bytes an entry.
type nodes struct{ all []prooflog.Hash }

// grow adds the entry with this leaf to a tree of n.
func (t *nodes) grow(n int64, leaf prooflog.Hash) error {
	more, err := prooflog.GrowLeaf(n, leaf, t)
	t.all = append(t.all, more...)
	return err
}

// ReadHashes implements [prooflog.Hashes].
func (t *nodes) ReadHashes(places []int64) ([]prooflog.Hash, error) {
	out := make([]prooflog.Hash, len(places))
	for i, place := range places {
		if place < 0 || place >= int64(len(t.all)) {
			return nil, fmt.Errorf("flow: node %d of %d", place, len(t.all))
		}
		out[i] = t.all[place]
	}
	return out, nil
}
