#include "shim.h"
#include "guard.h"

#include <libheif/heif.h>
#include <stdexcept>

struct vis_heic {
    heif_context *context = nullptr;
    heif_image_handle *handle = nullptr;
    ~vis_heic() {
        if (handle) heif_image_handle_release(handle);
        if (context) heif_context_free(context);
    }
};

namespace {
void check(heif_error e) {
    if (e.code != heif_error_Ok) throw std::runtime_error(e.message ? e.message : "libheif error");
}
}  // namespace

char *vis_heic_open(const uint8_t *data, size_t n, int threads, vis_heic **out, int *w, int *h) {
    *out = nullptr;
    vis_heic *p = nullptr;
    char *err = vis::guard([&] {
        p = new vis_heic;
        p->context = heif_context_alloc();
        if (!p->context) throw std::runtime_error("libheif does not start");
        heif_context_set_max_decoding_threads(p->context, threads);
        check(heif_context_read_from_memory(p->context, data, n, nullptr));
        check(heif_context_get_primary_image_handle(p->context, &p->handle));
        *w = heif_image_handle_get_width(p->handle);
        *h = heif_image_handle_get_height(p->handle);
    });
    if (err) {
        delete p;
        return err;
    }
    *out = p;
    return nullptr;
}

char *vis_heic_decode(vis_heic *p, int w, int h, uint8_t *out) {
    heif_image *image = nullptr;
    char *err = vis::guard([&] {
        check(heif_decode_image(p->handle, &image, heif_colorspace_RGB, heif_chroma_interleaved_RGB, nullptr));
        int stride = 0;
        const uint8_t *from = heif_image_get_plane_readonly(image, heif_channel_interleaved, &stride);
        if (!from || heif_image_get_width(image, heif_channel_interleaved) != w ||
            heif_image_get_height(image, heif_channel_interleaved) != h)
            throw std::runtime_error("decoded size differs from the size in the header");
        for (int y = 0; y < h; y++) memcpy(out + size_t(y) * w * 3, from + size_t(y) * stride, size_t(w) * 3);
    });
    if (image) heif_image_release(image);
    return err;
}

size_t vis_heic_icc_size(vis_heic *p) { return heif_image_handle_get_raw_color_profile_size(p->handle); }

char *vis_heic_icc(vis_heic *p, uint8_t *out) {
    return vis::guard([&] { check(heif_image_handle_get_raw_color_profile(p->handle, out)); });
}

void vis_heic_nclx(vis_heic *p, int *primaries, int *transfer) {
    *primaries = *transfer = 2;
    heif_color_profile_nclx *c = nullptr;
    if (heif_image_handle_get_nclx_color_profile(p->handle, &c).code != heif_error_Ok || !c) return;
    *primaries = c->color_primaries;
    *transfer = c->transfer_characteristics;
    heif_nclx_color_profile_free(c);
}

void vis_heic_close(vis_heic *p) { delete p; }
