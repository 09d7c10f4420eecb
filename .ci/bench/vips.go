// Package bench holds Farbay's derivatives against libvips in one process. It
// is a module of its own, so that the project needs neither cgo's libvips nor
// its headers (Debian: libvips-dev).
package bench

/*
#cgo pkg-config: vips
#include <stdlib.h>
#include <vips/vips.h>

// three_sizes decodes once and makes 2048, 960 and 320 px, each from the one
// before, as JPEGs of this quality without metadata. lengths are their bytes.
static int three_sizes(void *jpeg, size_t n, int quality, size_t *lengths) {
	const int edges[3] = {2048, 960, 320};
	VipsImage *from = NULL;
	for (int i = 0; i < 3; i++) {
		VipsImage *lazy = NULL, *to;
		int bad = i == 0
			? vips_thumbnail_buffer(jpeg, n, &lazy, edges[i], "height", edges[i], NULL)
			: vips_thumbnail_image(from, &lazy, edges[i], "height", edges[i], NULL);
		if (from) g_object_unref(from);
		if (bad) return -1;
		to = vips_image_copy_memory(lazy);
		g_object_unref(lazy);
		if (!to) return -1;
		void *out;
		if (vips_jpegsave_buffer(to, &out, &lengths[i], "Q", quality, "strip", TRUE, NULL)) {
			g_object_unref(to);
			return -1;
		}
		g_free(out);
		from = to;
	}
	g_object_unref(from);
	return 0;
}

static int start(void) { return VIPS_INIT("farbay-bench"); }
*/
import "C"

import (
	"errors"
	"unsafe"
)

// startVips must be called once, before threeSizes.
func startVips() error {
	if C.start() != 0 {
		return vipsError()
	}
	C.vips_cache_set_max(0) // nothing is kept from one call to the next
	return nil
}

// threeSizes makes the three JPEGs with libvips and returns their lengths.
func threeSizes(jpeg []byte, quality int) (lengths [3]int, err error) {
	var out [3]C.size_t
	if C.three_sizes(unsafe.Pointer(&jpeg[0]), C.size_t(len(jpeg)), C.int(quality), &out[0]) != 0 {
		return lengths, vipsError()
	}
	for i, n := range out {
		lengths[i] = int(n)
	}
	return lengths, nil
}

func vipsError() error { return errors.New(C.GoString(C.vips_error_buffer())) }
