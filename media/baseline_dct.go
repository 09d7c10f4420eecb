package media

import "encoding/binary"

// fillFlat is inverseDCT for a block that has but its first coefficient.
func fillFlat(first int32, dst []uint8, stride int) {
	eight := uint64(clamp8((first+4)>>3+128)) * 0x0101010101010101
	for y := range 8 {
		binary.LittleEndian.PutUint64(dst[y*stride:], eight)
	}
}

// inverseDCT turns coefficients into 8 by 8 samples (T.81 A.3.3, level shift
// A.3.1), clamped, and writes them to dst.
//
// Source: Loeffler, Ligtenberg and Moschytz, "Practical Fast 1-D DCT Algorithms
// with 11 Multiplications", ICASSP 1989, in fixed point with 13 bits.
func inverseDCT(c *[64]int32, dst []uint8, stride int) {
	const (
		bits  = 13
		extra = 2 // kept below the point between the passes
	)
	for x := range 8 { // columns
		col := c[x : x+57]
		if col[8]|col[16]|col[24]|col[32]|col[40]|col[48]|col[56] == 0 {
			v := col[0] << extra
			col[0], col[8], col[16], col[24], col[32], col[40], col[48], col[56] = v, v, v, v, v, v, v, v
			continue
		}
		e0, e1, e2, e3, o0, o1, o2, o3 := butterfly(col[0], col[8], col[16], col[24], col[32], col[40], col[48], col[56])
		const shift, half = bits - extra, 1 << (bits - extra - 1)
		e0, e1, e2, e3 = e0+half, e1+half, e2+half, e3+half
		col[0], col[56] = (e0+o0)>>shift, (e0-o0)>>shift
		col[8], col[48] = (e1+o1)>>shift, (e1-o1)>>shift
		col[16], col[40] = (e2+o2)>>shift, (e2-o2)>>shift
		col[24], col[32] = (e3+o3)>>shift, (e3-o3)>>shift
	}
	for y := range 8 { // rows
		row := c[8*y : 8*y+8]
		e0, e1, e2, e3, o0, o1, o2, o3 := butterfly(row[0], row[1], row[2], row[3], row[4], row[5], row[6], row[7])
		const shift = bits + extra + 3
		const half = 128<<shift + 1<<(shift-1)
		e0, e1, e2, e3 = e0+half, e1+half, e2+half, e3+half
		to := dst[y*stride:][:8]
		to[0], to[7] = clamp8((e0+o0)>>shift), clamp8((e0-o0)>>shift)
		to[1], to[6] = clamp8((e1+o1)>>shift), clamp8((e1-o1)>>shift)
		to[2], to[5] = clamp8((e2+o2)>>shift), clamp8((e2-o2)>>shift)
		to[3], to[4] = clamp8((e3+o3)>>shift), clamp8((e3-o3)>>shift)
	}
}

// butterfly is the one-dimensional transform but for its last additions: the
// even part and the odd part, scaled by the square root of 8 and 2^13. The
// constants are those of the paper's rotations times 2^13.
func butterfly(c0, c1, c2, c3, c4, c5, c6, c7 int32) (e0, e1, e2, e3, o0, o1, o2, o3 int32) {
	const (
		f0298 = 2446  // √2 (-cos π/16 + cos 3π/16 + cos 5π/16 - cos 7π/16)
		f0390 = 3196  // √2 (cos 3π/16 - cos 5π/16)
		f0541 = 4433  // √2 cos 6π/16
		f0765 = 6270  // √2 (cos 2π/16 - cos 6π/16)
		f0899 = 7373  // √2 (cos 3π/16 - cos 7π/16)
		f1175 = 9633  // √2 cos 3π/16
		f1501 = 12299 // √2 (cos π/16 + cos 3π/16 - cos 5π/16 - cos 7π/16)
		f1847 = 15137 // √2 (cos 2π/16 + cos 6π/16)
		f1961 = 16069 // √2 (cos 3π/16 + cos 5π/16)
		f2053 = 16819 // √2 (cos π/16 + cos 3π/16 - cos 5π/16 + cos 7π/16)
		f2562 = 20995 // √2 (cos π/16 + cos 3π/16)
		f3072 = 25172 // √2 (cos π/16 + cos 3π/16 + cos 5π/16 - cos 7π/16)
	)
	z := (c2 + c6) * f0541
	t2, t3 := z-c6*f1847, z+c2*f0765
	t0, t1 := (c0+c4)<<13, (c0-c4)<<13
	e0, e3, e1, e2 = t0+t3, t0-t3, t1+t2, t1-t2

	z1, z2, z3, z4 := c7+c1, c5+c3, c7+c3, c5+c1
	z5 := (z3 + z4) * f1175
	z1, z2 = z1*-f0899, z2*-f2562
	z3, z4 = z3*-f1961+z5, z4*-f0390+z5
	o3 = c7*f0298 + z1 + z3
	o2 = c5*f2053 + z2 + z4
	o1 = c3*f3072 + z2 + z3
	o0 = c1*f1501 + z1 + z4
	return
}
