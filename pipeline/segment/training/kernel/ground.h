// What fruit lie on: procedural surfaces, colour and height at a point of the plane (mm).
#pragma once
#include "layout.h"
#include "vec.h"

struct Surf { v3 col; float h; float gloss; };

DEV float wave(float x) { return 0.5f + 0.5f * sinf(6.2832f * x); }
DEV float fract1(float x) { return x - floorf(x); }

// Straw, hay, grass, twigs, chips: layers of thin strands, the last one on top.
DEV Surf strands(const Ground& g, float x, float y, uint32_t sd) {
  Surf s = {V(g.cc) * (0.4f + 0.8f * fbm2(x / 40.f, y / 40.f, sd, 4, .6f)), 0.f, g.gloss};
  float cell = g.scale, wid = g.p[0], len = 0.5f * g.p[1] * cell;
  int layers = (int)g.p[2];
  for (int l = 0; l < layers; l++) {
    float ang = l * 1.1f, c = cosf(ang), n = sinf(ang), u = (c * x - n * y) / cell + 17.3f * l, v = (n * x + c * y) / cell + 5.1f * l;
    int i = (int)floorf(u), j = (int)floorf(v);
    float best = 0.f;
    for (int b = -1; b <= 1; b++)
      for (int a = -1; a <= 1; a++)
        for (int k = 0; k < 2; k++) {
          uint32_t q = sd + 31U * l + 7U * k;
          float px = (i + a + rnd(i + a, j + b, 3, q) - u) * cell, py = (j + b + rnd(i + a, j + b, 4, q) - v) * cell;
          float w = 6.2832f * (g.p[3] * 0.12f * (rnd(i + a, j + b, 5, q) - .5f) + (1.f - g.p[3]) * rnd(i + a, j + b, 5, q));
          float cw = cosf(w), sw = sinf(w), al = cw * px + sw * py, ac = -sw * px + cw * py + 0.02f * g.p[4] * al * al / cell;
          float hw = 0.5f * wid * (0.6f + 0.8f * rnd(i + a, j + b, 6, q));
          if (fabsf(al) < len && fabsf(ac) < hw) {
            float r = rnd(i + a, j + b, 7, q), e = ac / hw, z = l + r;
            if (z > best) {
              best = z;
              v3 col = mix(V(g.ca), V(g.cb), rnd(i + a, j + b, 8, q)) * (0.55f + 0.45f * (l + 1) / layers) * (0.85f + 0.3f * r);
              s.col = col * (1.f - 0.35f * e * e); s.h = (l + 1 + r - 0.8f * e * e) * wid * 0.5f;
            }
          }
        }
  }
  return s;
}

DEV Surf planks(const Ground& g, float x, float y, uint32_t sd) {
  float w = g.scale, gap = g.p[0], row = floorf(y / w), v = y - row * w;
  int r = (int)row;
  float off = 900.f * rnd(r, 1, 0, sd), len = g.p[3] > 0.f ? g.p[3] : 1e5f, cut = floorf((x + off) / len);
  int c = (int)cut;
  float xl = x + off + 333.f * rnd(r, c, 9, sd), along = x + off - cut * len;
  if (v < gap || (g.p[3] > 0.f && along < gap)) return {V(g.cc) * (0.3f + 0.6f * noise2(x / 15.f, y / 15.f, sd)), -4.f, 0.f};
  float warp = 6.f * fbm2(xl / 180.f, v / 30.f, sd + r * 13U, 3, .5f);
  float yy = v + warp + 1000.f * rnd(r, c, 2, sd);
  float kn = 0.f;  // knots bend the grain around themselves
  for (int k = 0; k < 3; k++) {
    float kx = floorf(xl / 400.f) * 400.f + 400.f * rnd((int)floorf(xl / 400.f), r, 20 + k, sd), ky = w * rnd((int)floorf(xl / 400.f), r, 30 + k, sd);
    float dx = (xl - kx) / 14.f, dy = (v - ky) / 8.f, d2 = dx * dx + dy * dy;
    if (rnd((int)floorf(xl / 400.f), r, 40 + k, sd) < g.p[2]) { kn = fmaxf(kn, expf(-d2)); yy += 10.f * expf(-0.3f * d2) * (dy > 0 ? 1.f : -1.f); }
  }
  float grain = fbm2(xl / 90.f, yy / 3.f, sd + 5U, 4, .6f), ring = wave(yy / (5.f + 12.f * rnd(r, c, 6, sd)) + 1.5f * fbm2(xl / 200.f, yy / 20.f, sd + 6U, 2, .5f));
  v3 col = mix(V(g.ca), V(g.cb), clampf(g.p[1] * (0.7f * grain + 0.4f * ring) + 0.5f * (rnd(r, c, 4, sd) - .5f), 0.f, 1.f));
  col = col * (0.85f + 0.3f * rnd(r, c, 5, sd)) * (1.f - 0.75f * kn);
  float e = fminf(fminf(v - gap, w - v), 4.f) / 4.f;
  return {col * (0.7f + 0.3f * sqrtf(fmaxf(e, 0.f))), e + 0.5f * grain, g.gloss};
}

DEV Surf surface(const Ground& g, float wx, float wy) {
  float c = cosf(g.rot), n = sinf(g.rot), x = c * wx - n * wy + g.ox, y = n * wx + c * wy + g.oy, k = g.scale;
  uint32_t sd = (uint32_t)g.seed;
  const float* p = g.p;
  Surf s = {V(g.ca), 0.f, g.gloss};
  int kind = (int)g.kind;
  if (kind == 0) {  // cloudy: concrete, soil, plaster, painted metal, anything
    float a = fbm2(x / k, y / k, sd, 6, p[0]), b = fbm2(x / (k * .12f), y / (k * .12f), sd + 3U, 4, .65f);
    s.col = mix(V(g.ca), V(g.cb), clampf(0.5f + p[1] * (a - .5f) * 2.f + p[2] * (b - .5f) * 2.f, 0.f, 1.f));
    if (p[3] > 0.f) { float q = noise2(x / (k * .05f + 1.f), y / (k * .05f + 1.f), sd + 4U); s.col = mix(s.col, V(g.cc), step01(1.f - p[3], 1.02f - p[3], q)); }
    if (p[4] > 0.f) { float q = fabsf(fbm2(x / (2.f * k), y / (2.f * k), sd + 8U, 4, .55f) - .5f); s.col = s.col * (1.f - 0.6f * step01(0.004f * p[4], 0.f, q)); }
    s.h = a + 0.4f * b;
  } else if (kind == 1) {
    s = planks(g, x, y, sd);
  } else if (kind == 2) {  // woven cloth
    float u = x / k, v = y / k * p[0];
    int i = (int)floorf(u), j = (int)floorf(v);
    float fu = fract1(u) - .5f, fv = fract1(v) - .5f;
    bool over = ((i + j * (p[4] > .5f ? 2 : 1)) & (p[4] > .5f ? 3 : 1)) < (p[4] > .5f ? 2 : 1);
    float e = over ? 1.f - 3.f * fv * fv : 1.f - 3.f * fu * fu, t = rnd(over ? j : i, over ? 1 : 2, 0, sd);
    s.col = mix(V(g.ca), V(g.cb), p[1] * t + (over ? p[2] : 0.f)) * (0.45f + 0.55f * e) * (0.8f + 0.4f * fbm2(x / 60.f, y / 60.f, sd, 4, .5f));
    if (p[3] > 0.f && fract1(x / p[3]) * p[3] < 1.5f * k) s.col = mix(s.col, V(g.cc), 0.7f);
    s.h = 0.3f * k * e;
  } else if (kind == 3) {  // wire mesh over ground, square or staggered
    float u = x / k, v = y / (k * p[1]);
    if (p[2] > .5f) { float h = ((int)floorf(v)) & 1; u += 0.5f * h + 0.18f * (wave(v) - .5f); }
    float du = fabsf(fract1(u) - .5f) * k, dv = fabsf(fract1(v) - .5f) * k * p[1], d = 0.5f * k - fmaxf(du, dv - 0.5f * k * (p[1] - 1.f));
    float b = fbm2(x / 60.f, y / 60.f, sd, 5, .6f);
    float shade = fminf(du > dv ? 0.5f * k - du : 0.5f * k * p[1] - dv, 9.f);
    s.col = V(g.cb) * (0.35f + 1.2f * b) * (0.7f + 0.3f * step01(0.f, 6.f, shade)); s.h = -6.f; s.gloss = 0.f;
    if (d < p[0]) { float e = d / p[0]; s.col = V(g.ca) * (1.f - 0.5f * e * e) * (0.8f + 0.4f * noise2(x / 12.f, y / 12.f, sd)); s.h = 1.f - e; s.gloss = g.gloss; }
  } else if (kind == 4) {
    s = strands(g, x, y, sd);
  } else if (kind == 5) {  // tarp, sheet, plastic film: folds
    float a = fbm2(x / k, y / (k * p[0]), sd, 4, .5f), r = 1.f - fabsf(2.f * fbm2(x / (k * 1.7f), y / (k * 1.7f * p[0]), sd + 2U, 3, .45f) - 1.f);
    r = powf(r, 1.f + 6.f * p[1]);
    float w = p[2] > 0.f ? wave(x / p[2]) * wave(y / p[2]) : 0.f;
    s.col = mix(V(g.ca), V(g.cb), clampf(p[3] * (a - .3f) + 0.25f * w, 0.f, 1.f)); s.h = a + p[1] * 1.5f * r;
    if (p[4] > 0.f) { float q = fminf(fract1(x / p[4]), fract1(y / (p[4] * 1.3f))) * p[4]; s.h += 0.06f * expf(-q * q / 40.f); s.col = s.col * (1.f - 0.2f * step01(3.f, 0.f, q)); }
  } else if (kind == 6) {  // corrugated: cardboard, roof sheet, slats, decking
    float f = fract1(y / k), e = p[0] > .5f ? step01(0.f, p[1], fminf(f, 1.f - f)) : wave(y / k);
    float a = fbm2(x / 150.f, y / 40.f, sd, 5, .55f);
    s.col = mix(V(g.ca), V(g.cb), clampf(a + p[2] * (e - .5f), 0.f, 1.f)); if (p[0] > .5f) s.col = mix(V(g.cc), s.col, e);
    s.h = e * k * 0.15f;
  } else if (kind == 7) {  // tiles, bricks, paving
    float row = floorf(y / (k * p[0])), u = x / k + (p[1] > .5f ? 0.5f * (((int)row) & 1) : 0.f), v = y / (k * p[0]);
    int i = (int)floorf(u), j = (int)row;
    float e = fminf(fminf(fract1(u), 1.f - fract1(u)) * k, fminf(fract1(v), 1.f - fract1(v)) * k * p[0]), q = step01(0.5f * p[2], p[2], e);
    s.col = mix(V(g.ca), V(g.cb), clampf(p[3] * rnd(i, j, 3, sd) + 0.5f * (fbm2(x / 30.f, y / 30.f, sd + i * 3U + j * 5U, 4, .6f) - .3f), 0.f, 1.f));
    s.col = mix(V(g.cc), s.col, q); s.h = 2.f * q;
  } else if (kind == 8) {  // gravel, pebbles, crumbled soil, bark
    float d1, d2; uint32_t id;
    float wx2 = x / k + 0.25f * fbm2(x / k * 2.f, y / k * 2.f, sd, 3, .5f), wy2 = y / k * p[0];
    cells(wx2, wy2, sd, 0.9f, &d1, &d2, &id);
    float e = clampf((d2 - d1) * 2.2f, 0.f, 1.f), r = (hash(id) >> 8) * (1.f / 16777216.f);
    s.col = mix(V(g.ca), V(g.cb), clampf(r * p[1] + 0.4f * (noise2(x / (k * .2f), y / (k * .2f), sd) - .5f), 0.f, 1.f)); s.col = mix(V(g.cc), s.col, step01(0.f, 0.5f, e));
    s.h = sqrtf(e) * k * 0.4f;
  } else if (kind == 9) {  // printed cloth: checks, stripes, dots, leaves
    float u = fract1(x / k) - .5f, v = fract1(y / k) - .5f, m = 0.f;
    int i = (int)floorf(x / k), j = (int)floorf(y / k), t = (int)p[0];
    float r = sqrtf(u * u + v * v), a = atan2f(v, u);
    if (t == 0) m = (u * v > 0.f) ? 1.f : 0.f;
    else if (t == 1) m = 0.5f * (u > 0.f) + 0.5f * (v > 0.f);
    else if (t == 2) m = u > p[1] - .5f;
    else if (t == 3) m = r < 0.15f + 0.25f * p[1];
    else if (t == 4) m = r < (0.2f + 0.2f * p[1]) * (0.6f + 0.4f * cosf(a * floorf(3.f + 4.f * p[2]) + 6.f * rnd(i, j, 1, sd)));
    else if (t == 5) m = wave(x / k + 0.5f * sinf(y / k * 4.f)) > 1.f - p[1];
    else m = fbm2(x / k, y / k, sd, 3, .5f) > 0.4f + 0.3f * p[1];
    s.col = mix(V(g.ca), V(g.cb), m);
    if (p[3] > .5f && t >= 3) s.col = mix(s.col, V(g.cc), (float)(fract1(x / k * 2.f + .25f) < 0.12f));
    s.col = s.col * (0.9f + 0.2f * wave(x / 1.7f) * wave(y / 1.7f)); s.h = fbm2(x / 160.f, y / 160.f, sd + 9U, 3, .5f) * p[4];
  }
  if (g.stain > 0.f) {
    float q = fbm2(x / g.stain_scale + 31.f, y / g.stain_scale, sd + 77U, 5, .55f);
    s.col = s.col * (1.f - g.stain * step01(0.45f, 0.75f, q));
  }
  s.h *= g.relief;
  s.col = V(clampf(s.col.x, 0.003f, 1.f), clampf(s.col.y, 0.003f, 1.f), clampf(s.col.z, 0.003f, 1.f));
  return s;
}
