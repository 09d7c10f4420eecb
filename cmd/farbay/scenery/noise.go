package scenery

import "sync"

// tileSize is the edge of a noise tile in texels; tiles repeat.
const tileSize = 512

// tile is a repeating grey texture, values 0..1 with mean near 0.5.
type tile [tileSize * tileSize]float32

// at reads the tile with bilinear filtering; u and v are in texels.
func (t *tile) at(u, v float32) float32 {
	i, j := floor32(u), floor32(v)
	fu, fv := u-float32(i), v-float32(j)
	const mask = tileSize - 1
	x0, y0 := i&mask, (j&mask)*tileSize
	x1, y1 := (i+1)&mask, ((j+1)&mask)*tileSize
	a := t[y0+x0] + (t[y0+x1]-t[y0+x0])*fu
	b := t[y1+x0] + (t[y1+x1]-t[y1+x0])*fu
	return a + (b-a)*fv
}

type tiles struct {
	cloud tile // many octaves: stains, rust, clouds
	fine  tile // high octaves only: grit, metal grain
	cells tile // distance to scattered points: flakes, gravel
	grain [tileSize * tileSize]int8
}

var sharedTiles = sync.OnceValue(func() *tiles {
	t := new(tiles)
	fbm(&t.cloud, 11, 8, 256)
	fbm(&t.fine, 23, 64, 512)
	scatter(&t.cells, 37, 40)
	for i := range t.grain {
		// The sum of uniform draws is close enough to the bell of film grain.
		h := hash(int32(i), 91, 5)
		t.grain[i] = int8((int(h&255)+int(h>>8&255)+int(h>>16&255)+int(h>>24))/4 - 127)
	}
	return t
})

// fbm fills t with value noise of periods from..to lattice cells a tile, each
// octave at 0.6 of the one before, spread to the full range.
func fbm(t *tile, seed int32, from, to int32) {
	amp := float32(1)
	for per := from; per <= to; per *= 2 {
		cell := float32(tileSize) / float32(per)
		for y := int32(0); y < tileSize; y++ {
			gy := float32(y) / cell
			j := int32(gy)
			fy := gy - float32(j)
			fy = fy * fy * (3 - 2*fy)
			for x := int32(0); x < tileSize; x++ {
				gx := float32(x) / cell
				i := int32(gx)
				fx := gx - float32(i)
				fx = fx * fx * (3 - 2*fx)
				a := lerp(unitHash(i, j, seed+per), unitHash((i+1)%per, j, seed+per), fx)
				b := lerp(unitHash(i, (j+1)%per, seed+per), unitHash((i+1)%per, (j+1)%per, seed+per), fx)
				t[y*tileSize+x] += amp * lerp(a, b, fy)
			}
		}
		amp *= 0.6
	}
	spread(t)
}

// scatter fills t with the distance to the nearest of n*n jittered points.
func scatter(t *tile, seed, n int32) {
	cell := float32(tileSize) / float32(n)
	for y := int32(0); y < tileSize; y++ {
		for x := int32(0); x < tileSize; x++ {
			gx, gy := float32(x)/cell, float32(y)/cell
			i, j := int32(gx), int32(gy)
			best := float32(9)
			for dj := int32(-1); dj <= 1; dj++ {
				for di := int32(-1); di <= 1; di++ {
					wi, wj := (i+di+n)%n, (j+dj+n)%n
					dx := float32(i+di) + unitHash(wi, wj, seed) - gx
					dy := float32(j+dj) + unitHash(wi, wj, seed+1) - gy
					if d := dx*dx + dy*dy; d < best {
						best = d
					}
				}
			}
			t[y*tileSize+x] = sqrt(best)
		}
	}
	spread(t)
}

// spread stretches t to mean 0.5 and three deviations within 0..1.
func spread(t *tile) {
	var s, q float64
	for _, v := range t {
		s += float64(v)
		q += float64(v) * float64(v)
	}
	n := float64(len(t))
	mean := s / n
	dev := sqrt(float32(q/n - mean*mean))
	for i, v := range t {
		t[i] = clamp(0.5+(v-float32(mean))/(5*dev), 0, 1)
	}
}

// hash mixes three numbers into 32 well-spread bits (an integer mix of the
// multiply-and-shift kind; constants from memory, any odd ones would do).
func hash(a, b, c int32) uint32 {
	h := uint32(a)*0x9e3779b1 ^ uint32(b)*0x85ebca77 ^ uint32(c)*0xc2b2ae3d
	h ^= h >> 15
	h *= 0x2c1b3c6d
	h ^= h >> 12
	h *= 0x297a2d39
	return h ^ h>>15
}

func unitHash(a, b, c int32) float32 { return float32(hash(a, b, c)>>8) / (1 << 24) }

// dice is a small repeatable source of numbers for placing things.
type dice struct{ seed, n int32 }

func (d *dice) unit() float32 {
	d.n++
	return unitHash(d.seed, d.n, 77)
}

func (d *dice) between(lo, hi float32) float32 { return lo + (hi-lo)*d.unit() }
