package server

import (
	"net/netip"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"farbay/journal"
)

// Attempts allowed: a number at once, and then one each so often.
var (
	// perAddress bounds all attempts to get in from one network address.
	perAddress = allowance{burst: 30, each: 10 * time.Second}
	// perAccount bounds guesses at the password of one account.
	perAccount = allowance{burst: 8, each: 2 * time.Minute}
	// perMailbox bounds letters asked for to one e-mail address.
	perMailbox = allowance{burst: 3, each: 5 * time.Minute}
)

type allowance struct {
	burst int
	each  time.Duration
}

// limits counts attempts by key, in memory: a restart forgets them. Each key
// costs some hundred bytes and is dropped once its allowance is whole again.
type limits struct {
	now  func() time.Time
	rule allowance
	mu   sync.Mutex
	keys map[string]*rate.Limiter
}

// maxLimitKeys bounds the memory of one counter. Beyond it, and with no key to
// drop, new keys are refused: somebody tries from very many addresses at once.
const maxLimitKeys = 50_000

func newLimits(now func() time.Time, rule allowance) *limits {
	return &limits{now: now, rule: rule, keys: map[string]*rate.Limiter{}}
}

// allow counts one attempt, and returns [journal.TooMany] when there were too
// many.
func (l *limits) allow(key string) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.now()
	one := l.keys[key]
	if one == nil {
		if len(l.keys) >= maxLimitKeys {
			l.dropWhole(now)
		}
		if len(l.keys) >= maxLimitKeys {
			return tooMany(l.rule.each)
		}
		one = rate.NewLimiter(rate.Every(l.rule.each), l.rule.burst)
		l.keys[key] = one
	}
	if !one.AllowN(now, 1) {
		return tooMany(l.rule.each)
	}
	return nil
}

// forget gives a key its whole allowance back.
func (l *limits) forget(key string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	delete(l.keys, key)
}

func (l *limits) dropWhole(now time.Time) {
	for key, one := range l.keys {
		if one.TokensAt(now) >= float64(l.rule.burst) {
			delete(l.keys, key)
		}
	}
}

func tooMany(wait time.Duration) error {
	in := "in a minute"
	if wait > time.Minute {
		in = "in some minutes"
	}
	return journal.Errorf(journal.TooMany, "There were too many attempts. Please try again %s.", in)
}

// network returns the part of an address that one party can be assumed to
// hold: an IPv4 address, or the first 64 bits of an IPv6 one.
func network(address string) string {
	ip, err := netip.ParseAddr(address)
	if err != nil {
		return address
	}
	ip = ip.Unmap().WithZone("")
	if ip.Is4() {
		return ip.String()
	}
	block, err := ip.Prefix(64)
	if err != nil {
		return address
	}
	return block.String()
}
