// Flat things lying about: card, tags, paper, coins, leaves, knives, sticks, strings, tape. Colour and cover at a point.
#pragma once
#include "layout.h"
#include "vec.h"
#include "ground.h"

DEV float boxd(float x, float y, float w, float h) { return fmaxf(fabsf(x) - w, fabsf(y) - h); }

// Marker-like black square with a random 4..5 bit pattern; x, y in 0..1.
DEV float marker(float x, float y, int bits, uint32_t sd) {
  if (x < 0.f || y < 0.f || x > 1.f || y > 1.f) return 1.f;
  int i = (int)(x * (bits + 2)), j = (int)(y * (bits + 2));
  if (i == 0 || j == 0 || i == bits + 1 || j == bits + 1) return 0.f;
  return rnd(i, j, 5, sd) > .5f ? 1.f : 0.f;
}
DEV v3 card(float u, float v, const Decal& d) {  // u, v in mm from the top-left corner of a 250 x 180 card
  uint32_t sd = (uint32_t)d.seed;
  v3 c = V(0.93f, 0.93f, 0.92f);
  const float mx[4] = {8, 202, 202, 8}, my[4] = {8, 8, 132, 132};
  for (int k = 0; k < 4; k++)
    if (marker((u - mx[k]) / 40.f, (v - my[k]) / 40.f, 4, sd + k) < .5f) c = V(0.012f, 0.012f, 0.012f);
  if (u > 55 && u < 199 && fract1((u - 55) / 24.f) < 20.f / 24.f) {
    int k = (int)((u - 55) / 24.f);
    if (v > 8 && v < 44 && k < 6) { float q = 0.8f * powf(0.5f, k * 0.93f); c = V(q, q, q); }
    if (v > 136 && v < 172 && k < 6) c = V(rnd(k, 1, 1, sd), rnd(k, 1, 2, sd), rnd(k, 1, 3, sd)) * 0.75f;
  }
  if (v > 54 && v < 129 && fract1((v - 54) / 25.f) < 22.f / 25.f && ((u > 8 && u < 48) || (u > 202 && u < 242))) {
    int k = (int)((v - 54) / 25.f) + (u > 100 ? 7 : 0);
    c = V(rnd(k, 2, 1, sd), rnd(k, 2, 2, sd), rnd(k, 2, 3, sd)) * 0.75f;
  }
  if (u > 60 && u < 190 && v > 80 && v < 124) {
    if (fminf(fminf(u - 60, 190 - u), fminf(v - 80, 124 - v)) < .7f) c = V(.1f, .1f, .1f);
    else if (d.p[0] > .5f && fabsf(v - 102 + 8 * sinf(u * .5f) * noise2(u * .2f, 3.f, sd)) < .8f) c = V(.05f, .05f, .2f);
  }
  if (u > 75 && u < 175 && fabsf(v - 70) < .6f) c = V(.02f, .02f, .02f);
  return c;
}

struct Flat { v3 col; float gloss; float nx, ny; bool in; };

DEV Flat decalAt(const Decal& d, float wx, float wy) {
  float c = cosf(d.rot), n = sinf(d.rot), x = c * (wx - d.c[0]) + n * (wy - d.c[1]), y = -n * (wx - d.c[0]) + c * (wy - d.c[1]);
  Flat f = {V(d.ca), d.gloss, 0.f, 0.f, false};
  float w = d.size[0], h = d.size[1], r = sqrtf(x * x + y * y);
  uint32_t sd = (uint32_t)d.seed;
  int kind = (int)d.kind;
  if (kind != 7 && r > 1.5f * (w + h)) return f;
  if (kind == 0) {  // scale card
    f.in = boxd(x, y, w, h) < 0.f;
    if (f.in) f.col = card((x / w + 1.f) * 125.f, (1.f - y / h) * 90.f, d);
  } else if (kind == 1) {  // tag: marker and figures, or a plain label with lines of writing
    f.in = boxd(x, y, w, h) < 0.f;
    if (f.in && marker((x + w - 0.17f * h) / (1.5f * h), (y + .75f * h) / (1.5f * h), 5, sd) < .5f && d.p[0] > .5f) f.col = V(.012f, .012f, .012f);
    if (f.in && x > 0.3f * w && x < 0.85f * w && fabsf(y) < .5f * h && noise2(x / (h * .12f), y / (h * .2f), sd) > .62f) f.col = V(d.cb);
  } else if (kind == 2) {  // paper, cloth, cardboard, plate: a rectangle with lines
    f.in = boxd(x, y, w, h) < 0.f;
    if (f.in && d.p[0] > 0.f && fabsf(x) < .85f * w && fabsf(y) < .85f * h && fract1(y / d.p[0]) < .4f && noise2(x / (.4f * d.p[0]), floorf(y / d.p[0]) * 7.f, sd) > .45f) f.col = V(d.cb);
    f.col = f.col * (0.92f + 0.16f * fbm2(x / 70.f, y / 70.f, sd, 3, .5f));
  } else if (kind == 3) {  // coin, lid, plate: a disc with a rim
    f.in = r < w;
    float e = r / w, rel = fbm2(x / (w * .25f), y / (w * .25f), sd, 3, .5f);
    f.col = V(d.ca) * (0.75f + 0.4f * rel) * (e > .9f ? 1.25f : 1.f) * (e > .84f && e < .9f ? .6f : 1.f);
    if (d.p[0] > .5f && e < .62f) f.col = V(d.cb) * (0.75f + 0.4f * rel);
    f.nx = (rel - .5f) * .6f;
  } else if (kind == 4) {  // leaf: lobed or jagged, veined or plain (p[2]), curled, edge nibbled
    float a = atan2f(y, x), lob = d.p[0], e = 0.62f + 0.38f * powf(fabsf(cosf(.5f * lob * a)), d.p[1]);
    float q = (x / w) * (x / w) + (y / h) * (y / h), edge = e * (0.9f + 0.2f * noise2(a * 6.f, 1.f, sd)) * (fabsf(a) > 2.7f ? .55f + .9f * (3.14f - fabsf(a)) / .44f * 0.5f : 1.f);
    if (d.p[3] > 0.f) edge = 0.78f * (1.f + d.p[3] * (cosf(5.f * a + d.seed) + .5f * cosf(11.f * a + 1.f))) * (0.96f + 0.08f * noise2(a * 6.f, 1.f, sd));
    f.in = sqrtf(q) < edge;
    float vein = fabsf(sinf(.5f * lob * a)) * sqrtf(q), own = 1.f - d.p[2];
    float rip = mixf(.5f, noise2(x / (.2f * w), y / (.2f * w), sd + 1U), own), curl = 1.2f * (rnd(1, 2, 3, sd) - .5f);
    f.col = mix(V(d.ca) * (.7f + .6f * rip), V(d.cb), own * step01(.06f, .0f, vein));
    f.nx = (rip - .5f) * 1.2f + curl * x / w; f.ny = (noise2(x / (.2f * w), y / (.2f * w), sd + 2U) - .5f) * 1.2f * own;
  } else if (kind == 5) {  // knife, secateurs, ruler: blade and handle
    float t = x / w, taper = t > 0.f ? 1.f - t * t * t * d.p[0] : .8f;
    f.in = fabsf(t) < 1.f && fabsf(y) < h * taper;
    if (t < -.1f) { f.col = V(d.cb) * (1.f - .4f * (y / h) * (y / h)); f.ny = y / h; }
    else { f.ny = 0.5f * (y / h); if (d.p[1] > 0.f && y > .4f * h && fract1(x / d.p[1]) < .15f) f.col = V(.02f, .02f, .02f); }
  } else if (kind == 6) {  // stick, pen, pipe, batten: a bar with round shading
    f.in = fabsf(x) < w && fabsf(y) < h;
    f.ny = 0.9f * y / h; f.col = V(d.ca) * (.8f + .4f * noise2(x / (20.f), y / 3.f, sd)) * (1.f - .45f * (y / h) * (y / h));
    if (fabsf(x) > .85f * w) f.col = V(d.cb);
  } else if (kind == 7) {  // string, vine, hose: a wavy line across
    float q = d.p[0] * sinf(x / d.p[1] + d.seed) + .4f * d.p[0] * sinf(2.3f * x / d.p[1]) - y;
    float sl = d.p[0] / d.p[1] * cosf(x / d.p[1] + d.seed), e = q / (h * sqrtf(1.f + sl * sl));
    f.in = fabsf(x) < w && fabsf(e) < 1.f;
    f.col = mix(V(d.ca), V(d.cb), wave((x + 2.f * q) / (3.f * h)) * d.p[2]) * (1.f - .5f * e * e); f.ny = -.8f * e;
  } else if (kind == 8) {  // ring: rim of a bucket, tape, hoop
    f.in = r < w && r > h;
    f.col = V(d.ca) * (.9f + .2f * noise2(x / 30.f, y / 30.f, sd)); f.nx = .6f * ((r - h) / (w - h) * 2.f - 1.f) * x / (r + 1.f); f.ny = .6f * ((r - h) / (w - h) * 2.f - 1.f) * y / (r + 1.f);
  }
  return f;
}
