#include "shim.h"
#include "guard.h"

#include <memory>
#include <stdexcept>
#include <turbojpeg.h>

namespace {

struct Closer {
    void operator()(void *h) const { tjDestroy(h); }
};
using Handle = std::unique_ptr<void, Closer>;

std::string text(void *h) {
    const char *s = tjGetErrorStr2(h);
    return s ? s : "";
}

Handle checked(tjhandle h) {
    if (!h) throw std::runtime_error("turbojpeg does not start");
    return Handle(h);
}

}  // namespace

char *vis_jpeg_header(const uint8_t *data, size_t n, int *w, int *h, int *space) {
    return vis::guard([&] {
        Handle d = checked(tjInitDecompress());
        int sampling = 0, cs = 0;
        if (tjDecompressHeader3(d.get(), data, n, w, h, &sampling, &cs) != 0 &&
            tjGetErrorCode(d.get()) != TJERR_WARNING)
            throw std::runtime_error(text(d.get()));
        *space = cs == TJCS_GRAY ? 0 : (cs == TJCS_CMYK || cs == TJCS_YCCK) ? 2 : 1;
    });
}

char *vis_jpeg_decode(const uint8_t *data, size_t n, int w, int h, int four, uint8_t *out, char **warning) {
    *warning = nullptr;
    return vis::guard([&] {
        Handle d = checked(tjInitDecompress());
        // LIMITSCANS stops a small file that asks for thousands of progressive scans.
        int flags = TJFLAG_LIMITSCANS;
        if (tjDecompress2(d.get(), data, n, out, w, 0, h, four ? TJPF_CMYK : TJPF_RGB, flags) == 0) return;
        if (tjGetErrorCode(d.get()) != TJERR_WARNING) throw std::runtime_error(text(d.get()));
        *warning = vis::copy(text(d.get()));
    });
}

char *vis_jpeg_encode(const uint8_t *rgb, int w, int h, int quality, uint8_t **out, size_t *n) {
    *out = nullptr;
    return vis::guard([&] {
        Handle c = checked(tjInitCompress());
        unsigned long size = 0;
        int sampling = quality >= 90 ? TJSAMP_444 : TJSAMP_420;
        if (tjCompress2(c.get(), rgb, w, 0, h, TJPF_RGB, out, &size, sampling, quality, 0) != 0) {
            std::string why = text(c.get());
            tjFree(*out);
            *out = nullptr;
            throw std::runtime_error(why);
        }
        *n = size;
    });
}

void vis_jpeg_free(uint8_t *p) { tjFree(p); }
