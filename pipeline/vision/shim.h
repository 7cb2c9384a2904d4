// The C face of the shim: every function returns NULL, or a message that the caller frees.
#ifndef OFFTYPE_SHIM_H
#define OFFTYPE_SHIM_H

#include <stddef.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

void vis_set_threads(int n);
void vis_return_memory(void);

// JPEG. space: 0 grey, 1 colour, 2 four inks (CMYK or YCCK).
char *vis_jpeg_header(const uint8_t *data, size_t n, int *w, int *h, int *space);
// Fills out (w*h*3 RGB, or w*h*4 CMYK when four is set). *warning: message to free, or NULL.
char *vis_jpeg_decode(const uint8_t *data, size_t n, int w, int h, int four, uint8_t *out, char **warning);
// *out is freed with vis_jpeg_free.
char *vis_jpeg_encode(const uint8_t *rgb, int w, int h, int quality, uint8_t **out, size_t *n);
void vis_jpeg_free(uint8_t *p);

// HEIC. An open picture is closed with vis_heic_close.
typedef struct vis_heic vis_heic;
char *vis_heic_open(const uint8_t *data, size_t n, int threads, vis_heic **out, int *w, int *h);
char *vis_heic_decode(vis_heic *p, int w, int h, uint8_t *out);
size_t vis_heic_icc_size(vis_heic *p);
char *vis_heic_icc(vis_heic *p, uint8_t *out);
// Colour primaries and transfer function by their ITU-T H.273 numbers; 2 is unspecified.
void vis_heic_nclx(vis_heic *p, int *primaries, int *transfer);
void vis_heic_close(vis_heic *p);

// Pictures: 8 bits a sample, rows without padding.
char *vis_gray(const uint8_t *rgb, int w, int h, uint8_t *out);
char *vis_reduce(const uint8_t *in, int w, int h, int channels, uint8_t *out, int ow, int oh);

// in is reduced by a whole factor k; what is left over at the right and below is cut off: out holds (w/k)*(h/k).
char *vis_shrink(const uint8_t *in, int w, int h, int channels, int k, uint8_t *out);

// Markers of count dictionaries in an RGB picture. which: place of the dictionary of each marker found; which and ids:
// room for max numbers; corners: room for 8*max. once: with one threshold.
char *vis_markers(const uint8_t *rgb, int w, int h, const int *dictionaries, int count, int max_side, int once,
                  int max, int *which, int *ids, float *corners, int *found);
char *vis_marker_picture(int dictionary, int id, int side, uint8_t *out);
char *vis_subpix(const uint8_t *gray, int w, int h, float *points, int n, int half_window);

// Neural network.
typedef struct vis_net vis_net;
char *vis_net_load(const uint8_t *onnx, size_t n, vis_net **out);
char *vis_net_forward(vis_net *p, const float *in, const int *shape, int dims,
                      const char *const *names, int count);
int vis_net_results(vis_net *p);
int vis_net_result_shape(vis_net *p, int i, int *shape, int max);
void vis_net_result_copy(vis_net *p, int i, float *out);
void vis_net_close(vis_net *p);

#ifdef __cplusplus
}
#endif
#endif
