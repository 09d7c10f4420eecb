package media

import (
	"encoding/binary"
)

// profileSegments returns the JPEG segments that carry the photo's colour
// profile into a derivative, or nil if there is none to carry: the profile
// must be for RGB (bytes 16 to 19 of its header, ICC.1:2022 table 17), as long
// as its header says, and the pixels must be colours, not greys or inks.
func profileSegments(info Info, p picture) []byte {
	icc := info.layout.icc
	if len(icc) < 128 || string(icc[16:20]) != "RGB " || string(icc[36:40]) != "acsp" || !p.coloured() {
		return nil
	}
	length := binary.BigEndian.Uint32(icc)
	if length < 128 || uint64(length) > uint64(len(icc)) {
		return nil
	}
	icc = icc[:length] // nothing behind the profile comes along
	const name = "ICC_PROFILE\x00"
	const most = 0xffff - 2 - len(name) - 2
	count := (len(icc) + most - 1) / most
	if count > 255 {
		return nil
	}
	var out []byte
	for i := range count {
		chunk := icc[i*most : min(len(icc), (i+1)*most)]
		out = append(out, 0xff, markerAPP2)
		out = binary.BigEndian.AppendUint16(out, uint16(2+len(name)+2+len(chunk)))
		out = append(out, name...)
		out = append(out, byte(i+1), byte(count))
		out = append(out, chunk...)
	}
	return out
}
