// Vectors, hashes and noise for the ray tracer. One source for g++ (checks on a CPU) and nvcc.
#pragma once
#include <math.h>
#include <stdint.h>
#ifdef __CUDACC__
#define DEV __device__ static inline
#else
#define DEV static inline
#endif

struct v2 { float x, y; };
struct v3 { float x, y, z; };
DEV v3 V(float x, float y, float z) { return {x, y, z}; }
DEV v3 V(const float* a) { return {a[0], a[1], a[2]}; }
DEV v3 operator+(v3 a, v3 b) { return {a.x + b.x, a.y + b.y, a.z + b.z}; }
DEV v3 operator-(v3 a, v3 b) { return {a.x - b.x, a.y - b.y, a.z - b.z}; }
DEV v3 operator*(v3 a, v3 b) { return {a.x * b.x, a.y * b.y, a.z * b.z}; }
DEV v3 operator*(v3 a, float s) { return {a.x * s, a.y * s, a.z * s}; }
DEV float dot(v3 a, v3 b) { return a.x * b.x + a.y * b.y + a.z * b.z; }
DEV float len(v3 a) { return sqrtf(dot(a, a)); }
DEV v3 unit(v3 a) { return a * (1.f / fmaxf(len(a), 1e-9f)); }
DEV v3 mul(const float* m, v3 a) {
  return {m[0] * a.x + m[1] * a.y + m[2] * a.z, m[3] * a.x + m[4] * a.y + m[5] * a.z, m[6] * a.x + m[7] * a.y + m[8] * a.z};
}
DEV v3 mulT(const float* m, v3 a) {
  return {m[0] * a.x + m[3] * a.y + m[6] * a.z, m[1] * a.x + m[4] * a.y + m[7] * a.z, m[2] * a.x + m[5] * a.y + m[8] * a.z};
}
DEV float clampf(float x, float a, float b) { return fminf(fmaxf(x, a), b); }
DEV float mixf(float a, float b, float k) { return a + (b - a) * k; }
DEV v3 mix(v3 a, v3 b, float k) { return a + (b - a) * k; }
DEV float step01(float a, float b, float x) {  // smooth step from 0 at a to 1 at b
  float t = clampf((x - a) / (b - a), 0.f, 1.f);
  return t * t * (3.f - 2.f * t);
}

DEV uint32_t hash(uint32_t x) {
  x ^= x >> 16; x *= 0x7feb352dU; x ^= x >> 15; x *= 0x846ca68bU; x ^= x >> 16;
  return x;
}
DEV float rnd(int x, int y, int z, uint32_t s) {
  uint32_t h = hash((uint32_t)x * 73856093U ^ hash((uint32_t)y * 19349663U ^ hash((uint32_t)z * 83492791U ^ s)));
  return (h >> 8) * (1.f / 16777216.f);
}
DEV float quint(float t) { return t * t * t * (t * (t * 6.f - 15.f) + 10.f); }

DEV float noise2(float x, float y, uint32_t s) {  // value noise, 0..1
  float fx = floorf(x), fy = floorf(y);
  int i = (int)fx, j = (int)fy;
  float u = quint(x - fx), v = quint(y - fy);
  return mixf(mixf(rnd(i, j, 0, s), rnd(i + 1, j, 0, s), u), mixf(rnd(i, j + 1, 0, s), rnd(i + 1, j + 1, 0, s), u), v);
}
DEV float noise3(v3 p, uint32_t s) {  // value noise, -1..1
  float fx = floorf(p.x), fy = floorf(p.y), fz = floorf(p.z);
  int i = (int)fx, j = (int)fy, k = (int)fz;
  float u = quint(p.x - fx), v = quint(p.y - fy), w = quint(p.z - fz);
  float a = mixf(mixf(rnd(i, j, k, s), rnd(i + 1, j, k, s), u), mixf(rnd(i, j + 1, k, s), rnd(i + 1, j + 1, k, s), u), v);
  float b = mixf(mixf(rnd(i, j, k + 1, s), rnd(i + 1, j, k + 1, s), u), mixf(rnd(i, j + 1, k + 1, s), rnd(i + 1, j + 1, k + 1, s), u), v);
  return 2.f * mixf(a, b, w) - 1.f;
}
DEV float fbm2(float x, float y, uint32_t s, int oct, float gain) {  // 0..1
  float a = 1.f, v = 0.f, n = 0.f;
  for (int o = 0; o < oct; o++) {
    v += a * noise2(x, y, s + o * 101U); n += a; a *= gain;
    float t = 1.6f * x - 1.2f * y; y = 1.2f * x + 1.6f * y; x = t;  // turn by 37 degrees, twice the frequency
  }
  return v / n;
}
DEV float fbm3(v3 p, uint32_t s, int oct, float gain) {  // -1..1
  float a = 1.f, v = 0.f, n = 0.f;
  for (int o = 0; o < oct; o++) {
    v += a * noise3(p, s + o * 101U); n += a; a *= gain;
    p = V(1.6f * p.x - 1.2f * p.y + 7.f, 1.2f * p.x + 1.6f * p.y, 2.f * p.z + 3.f);
  }
  return v / n;
}
// Distance to the nearest and second nearest point of a jittered lattice; cell number in id.
DEV void cells(float x, float y, uint32_t s, float jitter, float* d1, float* d2, uint32_t* id) {
  int i = (int)floorf(x), j = (int)floorf(y);
  *d1 = *d2 = 9.f; *id = 0;
  for (int b = -1; b <= 1; b++)
    for (int a = -1; a <= 1; a++) {
      float px = i + a + 0.5f + jitter * (rnd(i + a, j + b, 1, s) - 0.5f), py = j + b + 0.5f + jitter * (rnd(i + a, j + b, 2, s) - 0.5f);
      float d = sqrtf((px - x) * (px - x) + (py - y) * (py - y));
      if (d < *d1) { *d2 = *d1; *d1 = d; *id = hash((uint32_t)(i + a) * 7919U + (uint32_t)(j + b) * 104729U + s); }
      else if (d < *d2) *d2 = d;
    }
}
