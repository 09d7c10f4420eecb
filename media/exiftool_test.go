package media

import (
	"bytes"
	"compress/zlib"
	"encoding/hex"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"
)

// bases are plain files for ExifTool to write into.
func bases(tb testing.TB) map[string][]byte {
	tb.Helper()
	pngBytes := encodePNG(tb, photo(60, 40))
	return map[string][]byte{
		"jpg":  encodeJPEG(tb, photo(60, 40)),
		"png":  pngBytes,
		"webp": convert(tb, pngBytes, "png", "webp"),
	}
}

// phoneTags are what a phone writes; the camera, the place and the names are
// invented.
var phoneTags = []string{
	"-Make=Ostler", "-Model=Pocket 4", "-Orientation#=6",
	"-DateTimeOriginal=2025:03:09 01:59:58", "-OffsetTimeOriginal=-07:00", "-SubSecTimeOriginal=042",
	"-CreateDate=2025:03:09 01:59:59", "-OffsetTimeDigitized=-07:00",
	"-ModifyDate=2031:01:01 00:00:00", "-OffsetTime=+09:00",
	"-GPSLatitude#=40.5", "-GPSLatitudeRef=N", "-GPSLongitude#=105.25", "-GPSLongitudeRef=W",
	"-GPSDateStamp=2025:03:09", "-GPSTimeStamp=08:59:57",
}

// privateTags are what must not get out of an original.
var privateTags = []string{
	"-Artist=Wilhelmina Quarterdeck", "-Copyright=Quarterdeck 2025", "-SerialNumber=SN-77123-XK",
	"-OwnerName=Wilhelmina Quarterdeck", "-ImageUniqueID=0123456789abcdef0123456789abcdef",
	"-XMP:Creator=Wilhelmina Quarterdeck", "-XMP:GPSLatitude=40.5", "-XMP:City=Tern Hollow",
	"-ImageDescription=behind the Quarterdeck barn", "-UserComment=key under the mat",
}

// privateWords are what to look for, in any letter case.
var privateWords = []string{"quarterdeck", "sn-77123", "0123456789abcdef", "tern hollow", "key under", "ostler", "pocket 4", "2025:03:09", "gps", "exif\x00", "http://ns.adobe.com"}

// tagged is a file for ExifTool to write tags into.
type tagged struct {
	name string // of the case; with ext also of the file
	ext  string
	base []byte
	tags []string // ExifTool's arguments
}

// writeTags has one ExifTool write all files and returns their paths by name.
func writeTags(tb testing.TB, files ...tagged) map[string]string {
	tb.Helper()
	dir := tb.TempDir()
	paths := map[string]string{}
	var args strings.Builder
	for i, f := range files {
		path := filepath.Join(dir, fmt.Sprintf("%d.%s", i, f.ext))
		paths[f.name] = path
		writeFile(tb, path, f.base)
		for _, arg := range append([]string{"-q", "-m", "-overwrite_original"}, f.tags...) {
			args.WriteString(arg + "\n")
		}
		args.WriteString(path + "\n-execute\n")
	}
	list := filepath.Join(dir, "arguments")
	writeFile(tb, list, []byte(args.String()))
	run(tb, "exiftool", "-charset", "UTF8", "-@", list)
	return paths
}

// writeTagsTo is writeTags of one file.
func writeTagsTo(tb testing.TB, ext string, base []byte, tags ...string) []byte {
	tb.Helper()
	return readFile(tb, writeTags(tb, tagged{ext, ext, base, tags})[ext])
}

// TestInspect_WrittenByExifTool has ExifTool write tags into each format in
// both byte orders and compares with what ExifTool reads back.
func TestInspect_WrittenByExifTool(t *testing.T) {
	program(t, "exiftool")
	cases := map[string][]string{
		"phone":        phoneTags,
		"all":          append(append([]string(nil), phoneTags...), privateTags...),
		"south-east":   {"-GPSLatitude#=-33.8688197", "-GPSLatitudeRef#=S", "-GPSLongitude#=151.2092955", "-GPSLongitudeRef#=E"},
		"dates only":   {"-EXIF:DateTimeOriginal=1999:12:31 23:59:59"},
		"odd dates":    {"-EXIF:DateTimeOriginal#=2024/07/04 12:34:56", "-EXIF:CreateDate#=    :  :     :  :  "},
		"orientation8": {"-Orientation#=8"},
		"orientation3": {"-Orientation#=3", "-EXIF:Model=Box"},
		"other script": {"-EXIF:Make=Øster", "-EXIF:Model=ライト 2"},
	}
	var files []tagged
	for ext, base := range bases(t) {
		for _, order := range []string{"II", "MM"} {
			for name, tags := range cases {
				tags = append([]string{"-ExifByteOrder=" + order}, tags...)
				files = append(files, tagged{ext + " " + order + " " + name, ext, base, tags})
			}
		}
	}
	compareWithExifTool(t, writeTags(t, files...))
}

// TestInspect_HEICWrittenByExifTool: ExifTool can write into a HEIC file but
// not make one.
func TestInspect_HEICWrittenByExifTool(t *testing.T) {
	folder := cameraFolder(t)
	program(t, "exiftool")
	b := readFile(t, filepath.Join(folder, "files", "offset__exif-at-eof.heic"))
	compareWithExifTool(t, writeTags(t, tagged{"heic", "heic", b, phoneTags}))
}

// TestInspect_RawProfilePNG: older programs keep a photo's Exif in a PNG text
// chunk "Raw profile type exif" or "APP1". ExifTool is the judge of what these
// hand-made chunks say.
func TestInspect_RawProfilePNG(t *testing.T) {
	program(t, "exiftool")
	base := encodePNG(t, photo(60, 40))
	jpg := writeTagsTo(t, "jpg", encodeJPEG(t, photo(60, 40)), phoneTags...)
	block := append([]byte("Exif\x00\x00"), mustInspect(t, jpg).layout.exif...)
	hexText := hex.EncodeToString(block)
	profile := fmt.Sprintf("\nexif\n%8d\n", len(block))
	for len(hexText) > 72 { // lines of 72 figures
		profile, hexText = profile+hexText[:72]+"\n", hexText[72:]
	}
	profile += hexText + "\n"
	var packed bytes.Buffer
	z := zlib.NewWriter(&packed)
	if _, err := z.Write([]byte(profile)); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	paths := map[string]string{}
	for name, chunk := range map[string][]byte{
		"zTXt exif":       pngChunk("zTXt", append([]byte("Raw profile type exif\x00\x00"), packed.Bytes()...)),
		"zTXt APP1":       pngChunk("zTXt", append([]byte("Raw profile type APP1\x00\x00"), packed.Bytes()...)),
		"tEXt":            pngChunk("tEXt", []byte("Raw profile type exif\x00"+profile)),
		"iTXt":            pngChunk("iTXt", []byte("Raw profile type exif\x00\x00\x00\x00\x00"+profile)),
		"compressed iTXt": pngChunk("iTXt", append([]byte("Raw profile type exif\x00\x01\x00\x00\x00"), packed.Bytes()...)),
	} {
		paths[name] = filepath.Join(dir, strings.ReplaceAll(name, " ", "_")+".png")
		writeFile(t, paths[name], insertChunk(base, chunk))
	}
	compareWithExifTool(t, paths)
}

// compareWithExifTool compares what Inspect reads with what ExifTool reads, for
// each path by name.
func compareWithExifTool(t *testing.T, paths map[string]string) {
	t.Helper()
	var all []string
	for _, path := range paths {
		all = append(all, path)
	}
	read := exifTool(t, all, "-charset", "exif=UTF8", "-EXIF:all")
	for name, path := range paths {
		t.Run(name, func(t *testing.T) {
			compareExif(t, mustInspect(t, readFile(t, path)).Exif, read[path])
		})
	}
}

func compareExif(t *testing.T, e Exif, want map[string]any) {
	t.Helper()
	tag := func(name string) string {
		v, ok := want[name]
		if !ok {
			return ""
		}
		return strings.TrimSpace(fmt.Sprint(v))
	}
	read := 0
	for _, c := range []struct{ name, got string }{
		{"ExifIFD:DateTimeOriginal", e.DateTimeOriginal},
		{"ExifIFD:OffsetTimeOriginal", e.OffsetTimeOriginal},
		{"ExifIFD:SubSecTimeOriginal", e.SubSecTimeOriginal},
		{"ExifIFD:CreateDate", e.DateTimeDigitized},
		{"ExifIFD:OffsetTimeDigitized", e.OffsetTimeDigitized},
		{"IFD0:Make", e.Make},
		{"IFD0:Model", e.Model},
	} {
		w := tag(c.name)
		// ExifTool's JSON has a number for text of figures: "042" is 42.
		if c.got != w && strings.TrimLeft(c.got, "0") != w {
			t.Errorf("%s = %q, ExifTool reads %q", c.name, c.got, w)
		}
		if w != "" {
			read++
		}
	}
	if w := tag("IFD0:Orientation"); w != "" || e.Orientation != 0 {
		read++
		if fmt.Sprint(e.Orientation) != w {
			t.Errorf("Orientation = %d, ExifTool reads %q", e.Orientation, w)
		}
	}
	lat, hasLat := want["GPS:GPSLatitude"].(float64)
	lon, hasLon := want["GPS:GPSLongitude"].(float64)
	if hasLat && hasLon {
		read++
		// -n prints the tags unsigned, the side is in the Ref tags.
		if tag("GPS:GPSLatitudeRef") == "S" {
			lat = -lat
		}
		if tag("GPS:GPSLongitudeRef") == "W" {
			lon = -lon
		}
		if e.Location == nil || math.Abs(e.Location.Lat-lat) > 1e-9 || math.Abs(e.Location.Lon-lon) > 1e-9 {
			t.Errorf("Location = %v, ExifTool reads %v, %v", e.Location, lat, lon)
		}
	} else if e.Location != nil {
		t.Errorf("Location = %v, ExifTool reads none", e.Location)
	}
	if day, clock := tag("GPS:GPSDateStamp"), tag("GPS:GPSTimeStamp"); day != "" && clock != "" {
		read++
		if got := e.SatelliteAt.Format("2006:01:02 15:04:05"); got != day+" "+clock {
			t.Errorf("SatelliteAt = %s, ExifTool reads %s %s", got, day, clock)
		}
	}
	if read == 0 {
		t.Error("ExifTool reads none of the tags compared")
	}
}

// TestCaptureTime_OfPhone: the offset of ModifyDate is not that of capture; in
// the hour that the shop's clocks skipped, the camera's own offset decides.
func TestCaptureTime_OfPhone(t *testing.T) {
	program(t, "exiftool")
	b := writeTagsTo(t, "jpg", encodeJPEG(t, photo(60, 40)), phoneTags...)
	got := CaptureTime(mustInspect(t, b).Exif, shopZone(t))
	if want := at(t, "2025-03-09T08:59:58.042Z"); !got.At.Equal(want) || got.OffsetMinutes != -420 || got.Source != SourceCameraOffset {
		t.Errorf("got %+v", got)
	}
}
