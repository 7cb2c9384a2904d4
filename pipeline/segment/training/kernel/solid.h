// Solids of revolution with a bent axis, ribs, wobble and warts: signed distance and skin.
#pragma once
#include "layout.h"
#include "vec.h"
// Meridian bank: signed distance to a closed half-profile, x in [-EX, EX], rho in [0, EX], longest half-extent 0.5.
#define NX 128
#define NR 64
#define EX 0.62f

struct Local { float x, rho, th, furrow, factor; v3 q; };  // along the unbent axis, away from it, around it

DEV Local toLocal(const Solid& s, v3 p) {
  v3 q = mul(s.m, p - V(s.c));
  if (q.x > s.xb) {
    float dx = q.x - s.xb, dy = s.ra - q.y, r = sqrtf(dx * dx + dy * dy);
    q = V(s.xb + atan2f(dx, dy) * s.ra, s.ra - r, q.z);
  }
  float z = q.z / s.zs;
  Local l;
  l.x = q.x; l.rho = sqrtf(q.y * q.y + z * z); l.th = 0.f; l.furrow = 0.f; l.q = q;
  float k = 1.f;
  uint32_t sd = (uint32_t)s.seed;
  if (s.ribs > 0.5f) {
    l.th = atan2f(z, q.y);
    l.furrow = powf(0.5f - 0.5f * cosf(s.ribs * l.th + 0.25f * s.pp[4]), s.rib_sharp);
    k -= s.rib_depth * l.furrow;
  }
  if (s.w1 > 0.f) k += s.w1 * noise3(q * s.f1, sd + 11U);
  if (s.w2 > 0.f) { float n = noise3(q * s.f2, sd + 12U); k += s.w2 * fmaxf(n - 0.15f, 0.f); }
  l.factor = fmaxf(k, 0.2f);
  return l;
}
DEV float meridian(const float* tab, float x, float r) {
  float cx = clampf(x, -EX, EX), cr = fminf(r, EX), far = sqrtf((x - cx) * (x - cx) + (r - cr) * (r - cr));
  float u = (cx + EX) * ((NX - 1) / (2 * EX)), v = cr * ((NR - 1) / EX);
  int i = min((int)u, NX - 2), j = min((int)v, NR - 2);
  u -= i; v -= j;
  const float* t = tab + j * NX + i;
  return mixf(mixf(t[0], t[1], u), mixf(t[NX], t[NX + 1], u), v) + far;
}
DEV float distance(const Solid& s, const float* bank, v3 p) {
  Local l = toLocal(s, p);
  float ra = s.ar * l.factor, d = meridian(bank + (int)s.shape * NX * NR, l.x / (s.size * s.ax), l.rho / (s.size * ra));
  return d * s.size * fminf(fminf(s.ax, ra), fminf(1.f, s.zs) * ra);
}
DEV v3 normalAt(const Solid& s, const float* bank, v3 p) {
  float e = 0.008f * s.size;
  float a = distance(s, bank, p + V(e, -e, -e)), b = distance(s, bank, p + V(-e, -e, e));
  float c = distance(s, bank, p + V(-e, e, -e)), d = distance(s, bank, p + V(e, e, e));
  return unit(V(a - b - c + d, -a - b + c + d, -a + b - c + d));
}
// March from t0 to t1 (entry and exit of the bounding sphere); true and *t at the first hit.
DEV bool march(const Solid& s, const float* bank, v3 o, v3 d, float t0, float t1, float eps, float* t) {
  float x = t0;
  for (int i = 0; i < 72 && x < t1; i++) {
    float h = distance(s, bank, o + d * x);
    if (h < eps) { *t = x; return true; }
    x += fmaxf(0.72f * h, 0.4f * eps);
  }
  return false;
}
DEV bool ball(const Solid& s, v3 o, v3 d, float grow, float* t0, float* t1) {
  v3 v = V(s.c) - o;
  float b = dot(v, d), r = s.bound + grow, q = r * r - (dot(v, v) - b * b);
  if (q <= 0.f) return false;
  q = sqrtf(q); *t0 = fmaxf(b - q, 0.f); *t1 = b + q;
  return *t1 > 0.f;
}

struct Skin { v3 col; float gloss; bool calyx; };

// Colour of the skin at a point of the surface (n: outward normal in the solid's own frame).
DEV Skin skin(const Solid& s, v3 p, v3 nl) {
  Local l = toLocal(s, p);
  uint32_t sd = (uint32_t)s.seed;
  float th = l.th;
  if (s.ribs < 0.5f) th = atan2f(l.q.z, l.q.y);
  float t = 0.5f - 0.5f * l.x / s.half, inv = 1.f / (s.half + 1.f);  // 0 at the stem, 1 at the blossom
  v3 un = l.q * inv;                                                  // -1..1
  float k = 0.f;
  int kind = (int)s.pattern;
  const float* a = s.pp;
  float nz = fbm3(un * a[2] + V(3.f, 5.f, 9.f), sd + 21U, 3, 0.5f);
  v3 col = V(s.base);
  float soft = 0.02f + a[3];
  if (kind == 1) {  // lengthwise stripes, wavy or broken
    k = step01(-soft, soft, cosf(a[0] * th + 1.6f * nz * a[4]) - cosf(3.14159f * a[1])) * step01(-0.55f, -0.35f, nz);
    k *= step01(0.01f, 0.05f, t) * step01(1.f, 0.96f, t);
  } else if (kind == 2) {  // bands around
    k = step01(-soft, soft, cosf(6.2832f * a[0] * t + 2.f * a[4] * nz) - cosf(3.14159f * a[1]));
  } else if (kind == 3) {  // dots
    float n = noise3(un * (6.f + 3.f * a[2]), sd + 22U);
    k = step01(0.75f - a[1] - soft, 0.75f - a[1] + soft, n);
  } else if (kind == 4) {  // patches
    k = step01(-soft, soft, nz - 0.6f + 1.2f * a[1]);
  } else if (kind == 5) {  // soft mottling
    k = clampf(0.5f + 2.f * (nz - 0.3f + 0.6f * a[1]), 0.f, 1.f);
  } else if (kind == 6) {  // netting
    float n = fabsf(noise3(un * (5.f + 4.f * a[2]), sd + 23U)), m = fabsf(noise3(un * (9.f + 7.f * a[2]), sd + 24U));
    k = 1.f - step01(0.03f, 0.06f + 0.2f * a[1], fminf(n, m));
  } else if (kind == 7) {  // two halves
    k = step01(-soft, soft, a[1] - t + 0.25f * nz * a[4]);
  } else if (kind == 8) {  // feathered stripes
    float e = fbm3(un * (4.f + 2.f * a[2]), sd + 25U, 4, 0.6f);
    k = step01(-0.25f, 0.25f, cosf(a[0] * th + 2.5f * e) - 0.6f + 1.2f * a[1]);
  } else if (kind == 9) {  // furrows of another colour
    k = clampf(l.furrow * 1.3f * (0.7f + 0.6f * nz), 0.f, 1.f);
  } else if (kind == 10) {  // slow change from end to end
    k = step01(a[1] - 0.4f, a[1] + 0.4f, t + 0.3f * nz);
  }
  col = mix(col, V(s.second), k);
  if (s.mottle > 0.f) {
    float m = fbm3(un * s.mottle_f, sd + 26U, 4, 0.55f);
    col = mix(col * (1.f + s.mottle * m), V(s.third), clampf(s.mottle * (m - 0.1f), 0.f, 1.f));
  }
  if (s.spot_cos < 1.f) {
    float d = dot(unit(V(un.x * 1.2f, un.y, un.z)), V(s.spot_dir)) + 0.6f * (1.f - s.spot_cos) * nz;
    float rim = fminf(0.1f, 1.5f * (1.f - s.spot_cos) + 0.003f);  // small flecks have sharper rims
    col = mix(col, V(s.spot_col), 0.9f * step01(s.spot_cos - rim, s.spot_cos + rim, d));
  }
  if (s.scar > 0.f) {
    float m = fbm3(V(un.x * 2.f + 4.f, un.y * 6.f, un.z * 6.f), sd + 27U, 4, 0.6f);
    col = mix(col, V(0.33f, 0.24f, 0.15f), 0.7f * step01(0.5f - 0.3f * s.scar, 0.58f - 0.3f * s.scar, m));
  }
  if (s.dust > 0.f) {
    float m = fbm3(l.q * 0.08f, sd + 28U, 4, 0.65f);
    col = mix(col, V(0.20f, 0.15f, 0.10f), s.dust * step01(0.0f, 0.5f, m) * clampf(0.5f - nl.z, 0.f, 1.f));
  }
  for (int e = 0; e < 2; e++) {  // scars at the ends belong to the body
    if (s.end_r[e] <= 0.f || (e ? t < 0.7f : t > 0.3f)) continue;
    float r = s.end_r[e] * s.size * s.ar * 0.5f * (1.f + 0.35f * nz), ring = l.rho / fmaxf(r, 1e-3f);
    if (e ? nl.x < -0.1f : nl.x > 0.1f) col = mix(col, V(s.end_col) * (0.7f + 0.6f * fabsf(nz) + (ring > 0.7f ? 0.25f : 0.f)), 0.85f * step01(1.05f, 0.85f, ring));
  }
  Skin out = {V(fmaxf(col.x, 0.002f), fmaxf(col.y, 0.002f), fmaxf(col.z, 0.002f)), s.gloss, false};
  if (s.calyx > 0.f && t < 0.22f) {
    float star = 0.35f + 0.65f * powf(fabsf(cosf(0.5f * s.calyx_n * th + 0.8f * nz)), 1.5f) + 0.15f * nz;
    if (l.rho < s.calyx * s.size * s.ar * 0.5f * star && nl.x > 0.1f) {
      out.col = V(s.calyx_col) * (0.8f + 0.5f * nz); out.gloss *= 0.3f; out.calyx = true;
    }
  }
  return out;
}
