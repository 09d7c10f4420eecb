package media

import (
	"encoding/binary"
	"maps"
	"regexp"
	"strconv"
	"strings"
)

// maxTagBytes is the longest text of a tag that is looked at.
const maxTagBytes = 1 << 10

// tags reads what the camera wrote into moov: the keys of moov/meta as iPhones
// and Android's writer have them, and the texts of moov/udta that begin with a
// copyright sign; programs put keys in moov/udta/meta, too. A tag that cannot be read is passed over. Of two with one
// meaning, the key counts.
//
// Source: QuickTime File Format, "Metadata" and "User data atoms"; Apple's list
// of keys (com.apple.quicktime.…); Android's MediaMuxer and MPEG4Writer for
// com.android.…. From memory.
func (m *movie) tags() (Exif, error) {
	meta, err := m.boxes.find(m.moov, "meta")
	if err != nil {
		return Exif{}, err
	}
	user, err := m.boxes.find(m.moov, "udta")
	if err != nil {
		return Exif{}, err
	}
	userMeta, err := m.boxes.find(user, "meta")
	if err != nil {
		userMeta = nil // a list of user data that breaks off is passed over
	}
	found := m.userTexts(user)
	maps.Copy(found, m.metaKeys(userMeta))
	maps.Copy(found, m.metaKeys(meta))
	first := func(names ...string) string {
		for _, name := range names {
			if v := found[name]; v != "" {
				return v
			}
		}
		return ""
	}
	e := Exif{
		Make:     first("com.apple.quicktime.make", "com.android.manufacturer", "\xa9mak"),
		Model:    first("com.apple.quicktime.model", "com.android.model", "\xa9mod"),
		Location: readISO6709(first("com.apple.quicktime.location.ISO6709", "\xa9xyz")),
	}
	e.setClock(first("com.apple.quicktime.creationdate", "\xa9day"))
	return e, nil
}

// setClock takes an ISO 8601 date and time as the camera's, in Exif's form.
func (e *Exif) setClock(text string) {
	reading, ok := readClock(text, "")
	if !ok {
		return
	}
	e.DateTimeOriginal = reading.local.Format("2006:01:02 15:04:05")
	if nanos := reading.local.Nanosecond(); nanos != 0 {
		e.SubSecTimeOriginal = strings.TrimRight(reading.local.Format(".000000000")[1:], "0")
	}
	if !reading.hasOffset {
		return
	}
	sign, minutes := "+", reading.offsetMinutes
	if minutes < 0 {
		sign, minutes = "-", -minutes
	}
	two := func(n int) string { return string([]byte{byte('0' + n/10), byte('0' + n%10)}) }
	e.OffsetTimeOriginal = sign + two(minutes/60) + ":" + two(minutes%60)
}

// metaKeys reads the keys and values of a meta box; b may be nil.
func (m *movie) metaKeys(b []byte) map[string]string {
	out := map[string]string{}
	if len(b) >= 8 && string(b[4:8]) != "hdlr" {
		b = b[4:] // ISO files have a version here, QuickTime files do not
	}
	keys, err := m.boxes.find(b, "keys")
	if err != nil || keys == nil {
		return out
	}
	values, err := m.boxes.find(b, "ilst")
	if err != nil {
		return out
	}
	items, _, err := m.boxes.children(values)
	if err != nil {
		return out
	}
	c := &cursor{b: keys}
	c.version()
	n := c.uint(4)
	names := map[uint32]string{} // numbered from 1
	for i := uint64(1); i <= n && !c.short; i++ {
		length := c.uint(4)
		c.uint(4) // namespace
		if length < 8 || length > maxTagBytes {
			break
		}
		names[uint32(i)] = string(c.take(int(length - 8)))
	}
	for _, item := range items {
		name := names[binary.BigEndian.Uint32([]byte(item.kind))]
		data, err := m.boxes.find(item.data, "data")
		if err != nil || name == "" || len(data) < 8 || out[name] != "" {
			continue
		}
		if kind := binary.BigEndian.Uint32(data); kind == 1 { // UTF-8
			out[name] = tagText(data[8:])
		}
	}
	return out
}

// userTexts reads the texts of a udta box; b may be nil. Each is a list of
// length, language, characters, of which the first counts.
func (m *movie) userTexts(b []byte) map[string]string {
	out := map[string]string{}
	items, _, err := m.boxes.children(b)
	if err != nil {
		return out
	}
	for _, item := range items {
		if item.kind[0] != 0xa9 || out[item.kind] != "" || len(item.data) < 4 {
			continue
		}
		length := int(binary.BigEndian.Uint16(item.data))
		out[item.kind] = tagText(item.data[4:min(len(item.data), 4+length)])
	}
	return out
}

// tagText cleans a tag's text; too long a one is none.
func tagText(b []byte) string {
	if len(b) > maxTagBytes {
		return ""
	}
	return cleanText(string(b))
}

// iso6709 is the string form of a point: latitude, longitude, and what may
// follow. Source: ISO 6709:2008 annex H, from memory.
var iso6709 = regexp.MustCompile(`^([+-])(\d{2,6})(\.\d+)?([+-])(\d{3,7})(\.\d+)?([+-].*|CRS.*)?/?$`)

// readISO6709 reads "+40.5000-105.2500+1600.000/", also with minutes, or minutes
// and seconds, run on to the degrees. nil for what is no place on earth.
func readISO6709(s string) *Location {
	part := iso6709.FindStringSubmatch(s)
	if part == nil {
		return nil
	}
	lat, latOK := readAngle(part[1], part[2], part[3], 2)
	lon, lonOK := readAngle(part[4], part[5], part[6], 3)
	if !latOK || !lonOK || lat < -90 || lat > 90 || lon < -180 || lon > 180 {
		return nil
	}
	return &Location{Lat: lat, Lon: lon}
}

// readAngle reads degrees of so many digits, then none, two or four digits of
// minutes and seconds, the last of them with a fraction.
func readAngle(sign, digits, fraction string, degreeDigits int) (float64, bool) {
	more := len(digits) - degreeDigits
	if more != 0 && more != 2 && more != 4 {
		return 0, false
	}
	angle, unit := 0.0, 1.0
	for at := 0; at < len(digits); {
		end := at + 2
		if at == 0 {
			end = degreeDigits
		}
		text := digits[at:end]
		if end == len(digits) {
			text += fraction
		}
		n, err := strconv.ParseFloat(text, 64)
		if err != nil || at > 0 && n >= 60 {
			return 0, false
		}
		angle, unit, at = angle+n*unit, unit/60, end
	}
	if sign == "-" {
		angle = -angle
	}
	return angle, true
}
