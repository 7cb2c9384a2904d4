// Ray tracer for tables with fruit: linear colour a pixel and, at twice the resolution, what each sample hit.
// nvcc: renders on the GPU (pointers are device pointers). g++ -x c++: the same on the CPU, for checks.
#ifndef __CUDACC__
#include <algorithm>
using std::min;
using std::max;
#endif
#include "solid.h"
#include "decal.h"

struct World { const Scene* s; const Solid* solids; const Decal* decals; const float* bank; };

// Share of a light seen from p, past every solid but the one numbered skip.
DEV float seen(const World& w, v3 p, const Light& l, int skip, v3* dir, float* gain) {
  float far = 1e9f, cone = l.size;
  v3 d = V(l.pos);
  *gain = 1.f;
  if (l.kind > .5f) { v3 q = d - p; far = len(q); d = q * (1.f / far); cone = l.size / far; *gain = 1.f / (1e-6f * far * far + .05f); }
  *dir = d;
  float vis = 1.f;
  for (int i = 0; i < (int)w.s->solids && vis > .01f; i++) {
    const Solid& s = w.solids[i];
    float t0, t1;
    if (i == skip) continue;
    v3 v = V(s.c) - p;
    if (!ball(s, p, d, cone * len(v), &t0, &t1)) continue;
    t1 = fminf(t1, far);
    float x = fmaxf(t0, 1.f), res = 1.f;
    for (int k = 0; k < 40 && x < t1; k++) {
      float h = distance(s, w.bank, p + d * x);
      res = fminf(res, .5f + .5f * h / (cone * x + .15f));
      if (res < 0.02f) { res = 0.f; break; }
      x += fmaxf(.8f * fabsf(h), .5f + .3f * cone * x);
    }
    vis *= clampf(res, 0.f, 1.f);
  }
  for (int i = 0; i < (int)w.s->decals && vis > .01f; i++) {
    const Decal& e = w.decals[i];
    float t = (e.c[2] - p.z) / fmaxf(d.z, .05f);
    if (t > 1.5f && t < far && decalAt(e, p.x + d.x * t, p.y + d.y * t).in) vis *= .15f;
  }
  return vis * vis * (3.f - 2.f * vis);
}
// Share of the sky seen from p with normal n: near solids by distance samples, far ones by their size.
DEV float openness(const World& w, v3 p, v3 n, int skip) {
  float o = 1.f;
  for (int i = 0; i < (int)w.s->solids; i++) {
    const Solid& s = w.solids[i];
    if (i == skip || (skip >= 0 && s.ident == w.solids[skip].ident && s.role < 2.f)) continue;
    v3 v = V(s.c) - p;
    float d = len(v), r = s.bound;
    if (d > 6.f * r) continue;
    float c = clampf(dot(n, v) / d + .15f, 0.f, 1.f), q = fminf(r * r * s.zs * fminf(s.ar, 1.f) / (d * d), 1.f);
    float a = 1.f;
    if (d < 2.2f * r)
      for (int k = 0; k < 3; k++) {
        float h = r * (.08f + .16f * k * k + .1f * k), g = distance(s, w.bank, p + n * h);
        a = fminf(a, clampf(g / h, 0.f, 1.f) * .8f + .2f);
      }
    o *= (1.f - .45f * c * q) * (.35f + .65f * a);
  }
  return o;
}
DEV v3 shade(const World& w, v3 p, v3 n, v3 view, v3 col, float gloss, float shine, int skip) {
  const Scene& s = *w.s;
  float open = mixf(1.f, openness(w, p, n, skip), s.ao), up = .5f + .5f * n.z;
  if (skip >= 0) open *= .45f + .55f * clampf(up + p.z / 250.f, 0.f, 1.f);
  v3 out = col * (V(s.sky) * (open * up) + V(s.bounce) * (open * (1.f - up)));
  for (int i = 0; i < (int)s.lights; i++) {
    v3 d; float g;
    const Light& l = s.light[i];
    v3 dv = l.kind > .5f ? unit(V(l.pos) - p) : V(l.pos);
    float c = dot(n, dv);
    if (c < -.05f) continue;
    float k = seen(w, p + n * .6f, l, skip, &d, &g) * g;
    v3 h = unit(d - view);
    float sp = gloss * powf(fmaxf(dot(n, h), 0.f), shine) * (shine + 8.f) * .04f;
    out = out + V(l.col) * (k * fmaxf(c, 0.f)) * (col + V(sp, sp, sp));
  }
  float fr = gloss * (.04f + .6f * powf(1.f - clampf(-dot(n, view), 0.f, 1.f), 4.f)) * open;
  return out + V(s.sky) * fr;
}
DEV v3 groundColour(const World& w, const Ground& g, v3 p, v3 d, float lod) {
  Surf a = surface(g, p.x, p.y);
  v3 n = V(0, 0, 1);
  if (g.relief > 0.f) {
    float e = fmaxf(.35f, .5f * lod), hx = surface(g, p.x + e, p.y).h, hy = surface(g, p.x, p.y + e).h;
    n = unit(V(clampf((a.h - hx) / e, -1.5f, 1.5f), clampf((a.h - hy) / e, -1.5f, 1.5f), 1.f));
  }
  return shade(w, p, n, d, a.col, a.gloss, 12.f, -1);
}

// One sample: colour and what was hit (0 nothing of interest, 1..100 fruit, 101..200 stalk of fruit - 100).
DEV v3 sample(const World& w, v3 o, v3 d, uint8_t* hit) {
  const Scene& s = *w.s;
  float best = -o.z / fminf(d.z, -1e-4f);
  v3 g = o + d * best;
  bool beyond = s.drop > 0.f && s.edge[0] * g.x + s.edge[1] * g.y > s.edge[2];
  if (beyond) best = -(o.z + s.drop) / fminf(d.z, -1e-4f);
  int solid = -1, decal = -1;
  for (int i = 0; i < (int)s.decals; i++) {
    const Decal& e = w.decals[i];
    float slope = e.tilt[0] * d.x + e.tilt[1] * d.y - d.z;
    float t = (o.z - e.c[2] - e.tilt[0] * (o.x - e.c[0]) - e.tilt[1] * (o.y - e.c[1])) / slope;
    if (t > 0.f && t < best && !(beyond && e.c[2] < 3.f)) { v3 q = o + d * t; if (decalAt(e, q.x, q.y).in) { best = t; decal = i; } }
  }
  float px = best / s.f;
  for (int i = 0; i < (int)s.solids; i++) {
    float t0, t1, t;
    if (ball(w.solids[i], o, d, 0.f, &t0, &t1) && t0 < best && march(w.solids[i], w.bank, o, d, t0, fminf(t1, best), .06f * px, &t)) { best = t; solid = i; }
  }
  v3 p = o + d * best;
  *hit = 0;
  if (solid >= 0) {
    const Solid& q = w.solids[solid];
    v3 n = normalAt(q, w.bank, p);
    Skin k = skin(q, p, mul(q.m, n));
    if (q.bump > 0.f) {
      v3 u = mul(q.m, p - V(q.c)) * q.bump_f;
      uint32_t sd = (uint32_t)q.seed + 61U;
      v3 b = V(noise3(u, sd), noise3(u + V(9, 0, 0), sd), noise3(u + V(0, 9, 0), sd));
      n = unit(n + b * q.bump);
    }
    if (q.role < 1.5f) *hit = (uint8_t)((int)q.ident + ((q.role > .5f || k.calyx) ? 100 : 0));
    return shade(w, p, n, d, k.col, k.gloss, q.shine, solid);
  }
  if (decal >= 0) {
    const Decal& e = w.decals[decal];
    Flat f = decalAt(e, p.x, p.y);
    float c = cosf(e.rot), n = sinf(e.rot);
    return shade(w, p, unit(V(c * f.nx - n * f.ny - e.tilt[0], n * f.nx + c * f.ny - e.tilt[1], 1.f)), d, f.col, f.gloss, 30.f, -1);
  }
  if (beyond) {
    float k = clampf((s.edge[0] * p.x + s.edge[1] * p.y - s.edge[2]) / s.drop, 0.f, 1.f);
    return groundColour(w, s.gb, p, d, px) * (.15f + .85f * k);
  }
  if (best > 9000.f || d.z > -.02f) {  // past the table: an out-of-focus room or garden
    float k = fbm2(d.x * 4.f + 7.f, (d.y + 3.f * d.z) * 4.f, (uint32_t)s.seed, 3, .5f);
    return mix(V(s.gb.ca), V(s.gb.cb), step01(.3f, .7f, k)) * (V(s.sky) + V(.2f, .2f, .2f));
  }
  return groundColour(w, s.ga, p, d, px);
}
DEV void pixel(const World& w, int i, int j, int W, float* rgb, uint8_t* ids) {
  const Scene& s = *w.s;
  v3 sum = V(0, 0, 0);
  for (int k = 0; k < 4; k++) {
    int a = k & 1, b = k >> 1;
    float xd = (s.x0 + i + .25f + .5f * a - s.cx) / s.f, yd = (s.y0 + j + .25f + .5f * b - s.cy) / s.f, x = xd, y = yd;
    for (int q = 0; q < 4; q++) { float r2 = x * x + y * y; x = xd / (1.f + s.k1 * r2); y = yd / (1.f + s.k1 * r2); }
    v3 c = sample(w, V(s.eye), unit(mul(s.m, V(x, y, 1.f))), ids + (size_t)(2 * j + b) * 2 * W + 2 * i + a);
    sum = sum + V(fminf(c.x, 8.f), fminf(c.y, 8.f), fminf(c.z, 8.f)) * .25f;
  }
  rgb[0] = sum.x; rgb[1] = sum.y; rgb[2] = sum.z;
}

#ifdef __CUDACC__
__global__ void kernel(const Scene* sc, const Solid* so, const Decal* de, const float* bank, int H, int W, float* rgb, uint8_t* ids) {
  int i = blockIdx.x * blockDim.x + threadIdx.x, j = blockIdx.y * blockDim.y + threadIdx.y, b = blockIdx.z;
  if (i >= W || j >= H) return;
  World w = {sc + b, so + (int)sc[b].solid0, de + (int)sc[b].decal0, bank};
  pixel(w, i, j, W, rgb + ((size_t)b * H * W + (size_t)j * W + i) * 3, ids + (size_t)b * 4 * H * W);
}
#endif
extern "C" int render(const Scene* sc, const Solid* so, const Decal* de, const float* bank, int n, int H, int W, float* rgb, uint8_t* ids, int device) {
#ifdef __CUDACC__
  cudaSetDevice(device);
  dim3 t(16, 8), g((W + 15) / 16, (H + 7) / 8, n);
  kernel<<<g, t>>>(sc, so, de, bank, H, W, rgb, ids);
  return (int)cudaGetLastError();
#else
  for (int b = 0; b < n; b++) {
    World w = {sc + b, so + (int)sc[b].solid0, de + (int)sc[b].decal0, bank};
#pragma omp parallel for schedule(dynamic, 4)
    for (int j = 0; j < H; j++)
      for (int i = 0; i < W; i++) pixel(w, i, j, W, rgb + ((size_t)b * H * W + (size_t)j * W + i) * 3, ids + (size_t)b * 4 * H * W);
  }
  return 0;
#endif
}
