// Convolutions of single precision, batch by batch in the layout channels, rows, columns:
//   - 3 × 3 ones by Winograd's minimal filtering F(4 × 4, 3 × 3), as in Lavin and Gray, Fast Algorithms for Convolutional
//     Neural Networks, CVPR 2016 (from memory): a quarter of the multiplications,
//   - 3 × 3 ones with steps or holes, directly,
//   - transposed 2 × 2 ones with step 2, directly.
// Only fast.cpp includes this.
#ifndef OFFTYPE_KERNELS_H
#define OFFTYPE_KERNELS_H

#include <algorithm>
#include <cstddef>
#include <cstring>
#include <memory>
#include <vector>

namespace {

#if defined(__x86_64__)
bool usable() { return __builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma"); }
#pragma GCC push_options
#pragma GCC optimize("O3")
#pragma GCC target("avx2,fma")
#else
bool usable() { return true; }
#endif

const int LANES = 8;
typedef float Vec __attribute__((vector_size(4 * LANES)));
typedef float Loose __attribute__((vector_size(4 * LANES), aligned(4), may_alias));

inline Vec load(const float *p) { return *reinterpret_cast<const Loose *>(p); }
inline void store(float *p, Vec v) { *reinterpret_cast<Loose *>(p) = v; }
inline int up_to(int n, int step) { return (n + step - 1) / step * step; }

const int OUTS = 4;  // output channels at a time

// acc[o][v] += Σ w[o]·in[v] over n rows of `in`, which lie `stride` apart; w holds OUTS numbers a row.
template <int V> inline void product(const float *w, const float *in, size_t stride, int n, float *out, size_t outs) {
    Vec acc[OUTS][V] = {};
    for (int i = 0; i < n; i++, in += stride, w += OUTS)
        for (int v = 0; v < V; v++) {
            Vec x = load(in + LANES * v);
            for (int o = 0; o < OUTS; o++) acc[o][v] += w[o] * x;
        }
    for (int o = 0; o < OUTS; o++)
        for (int v = 0; v < V; v++) store(out + o * outs + LANES * v, acc[o][v]);
}

// deal writes n numbers of a row, with `pad` zeros before them, to `parts` lines by turns, and fills these with zeros.
inline void deal(const float *s, int n, int pad, int parts, int line, float *to) {
    for (int part = 0; part < parts; part++, to += line) {
        int i = std::max(0, (pad - part + parts - 1) / parts), end = std::min(line, (n + pad - part + parts - 1) / parts);
        std::fill(to, to + i, 0.f);
        if (parts == 1 && end > i)
            std::memcpy(to + i, s + i - pad, sizeof(float) * (end - i));
        else
            for (int j = i; j < end; j++) to[j] = s[parts * j + part - pad];
        std::fill(to + std::max(i, end), to + line, 0.f);
    }
}

// Bᵀ·d, the input's transform along one side.
inline void before(const Vec *d, int step, Vec *t) {
    Vec d0 = d[0], d1 = d[step], d2 = d[2 * step], d3 = d[3 * step], d4 = d[4 * step], d5 = d[5 * step];
    Vec a = d4 - 4 * d2, b = d3 - 4 * d1, c = d4 - d2, e = 2 * (d3 - d1);
    t[0] = 4 * d0 - 5 * d2 + d4;
    t[1] = a + b;
    t[2] = a - b;
    t[3] = c + e;
    t[4] = c - e;
    t[5] = 4 * d1 - 5 * d3 + d5;
}

// Aᵀ·m, the output's.
inline void after(const Vec *m, int step, Vec *t) {
    Vec m0 = m[0], m1 = m[step], m2 = m[2 * step], m3 = m[3 * step], m4 = m[4 * step], m5 = m[5 * step];
    Vec a = m1 + m2, b = m1 - m2, c = m3 + m4, d = m3 - m4;
    t[0] = m0 + a + c;
    t[1] = b + 2 * d;
    t[2] = a + 4 * c;
    t[3] = b + 8 * d + m5;
}

// Plan is one convolution.
struct Plan {
    int in = 0, out = 0, step = 1, hole = 1, pad = 1;
    bool relu = false;
    std::shared_ptr<const std::vector<float>> weights;  // as the kernels want them
    std::vector<float> bias;

    int side(int n) const { return (n + 2 * pad - 2 * hole - 1) / step + 1; }

    Vec finish(Vec v, int o) const {
        const Vec zero = {};
        v += bias[o];
        return relu ? (v > zero ? v : zero) : v;
    }
};

// for_direct orders weights w[out][in][3 × 3] by OUTS output channels.
std::vector<float> for_direct(const Plan &p, const float *w) {
    std::vector<float> to(size_t(up_to(p.out, OUTS)) * p.in * 9);
    for (int o = 0; o < p.out; o++)
        for (int i = 0; i < p.in * 9; i++) to[(size_t(o / OUTS) * p.in * 9 + i) * OUTS + o % OUTS] = w[size_t(o) * p.in * 9 + i];
    return to;
}

// for_tiles transforms them to [6 × 6][out][in], by OUTS output channels.
std::vector<float> for_tiles(const Plan &p, const float *w) {
    static const double G[6][3] = {{1. / 4, 0, 0},             {-1. / 6, -1. / 6, -1. / 6}, {-1. / 6, 1. / 6, -1. / 6},
                                   {1. / 24, 1. / 12, 1. / 6}, {1. / 24, -1. / 12, 1. / 6}, {0, 0, 1}};
    const size_t plane = size_t(up_to(p.out, OUTS)) * p.in;
    std::vector<float> to(36 * plane);
    for (int o = 0; o < p.out; o++)
        for (int c = 0; c < p.in; c++) {
            const float *k = w + (size_t(o) * p.in + c) * 9;
            for (int i = 0; i < 36; i++) {
                double v = 0;
                for (int y = 0; y < 3; y++)
                    for (int x = 0; x < 3; x++) v += G[i / 6][y] * k[3 * y + x] * G[i % 6][x];
                to[i * plane + (size_t(o / OUTS) * p.in + c) * OUTS + o % OUTS] = float(v);
            }
        }
    return to;
}

// for_doubling orders weights w[in][out][2 × 2] by output channel.
std::vector<float> for_doubling(const Plan &p, const float *w) {
    std::vector<float> to(size_t(p.in) * p.out * 4);
    for (int c = 0; c < p.in; c++)
        for (int o = 0; o < p.out; o++) std::copy_n(w + (size_t(c) * p.out + o) * 4, 4, &to[(size_t(o) * p.in + c) * 4]);
    return to;
}

// Room is what one thread works in.
struct Room {
    std::vector<float> lines, before, after;
};

// at_least makes v hold n numbers or more, of any value.
inline float *at_least(std::vector<float> &v, size_t n) {
    if (v.size() < n) v.resize(n);
    return v.data();
}

// Winograd's way for the rows of tiles [from, to) of a picture.
struct Tiles {
    const Plan &p;
    const float *src;
    float *dst;
    int w, h, across, wide, rows;  // tiles in a row, with those that fill up the vectors; rows of tiles at a time
    size_t n, in_plane, out_plane; // tiles at a time; numbers of each of the 36 places, no power of two apart (cache)

    Tiles(const Plan &plan, const float *s, float *d, int width, int height) : p(plan), src(s), dst(d), w(width), h(height) {
        across = (w + 3) / 4;
        wide = up_to(across, LANES);
        const int room = 150000;  // numbers: what is worked on stays in half a megabyte of cache
        rows = std::max(1, room / (36 * (p.in + p.out)) / wide);
        n = size_t(rows) * wide;
        in_plane = n * p.in + 16;
        out_plane = n * up_to(p.out, OUTS) + 16;
    }

    int groups() const { return ((h + 3) / 4 + rows - 1) / rows; }

    void take(int first, float *lines, float *to) const;
    void multiply(const float *from, float *to) const;
    void give(int first, const float *from) const;
    void run(int group, Room &room) const {
        float *v = at_least(room.before, 36 * in_plane), *m = at_least(room.after, 36 * out_plane);
        take(group * rows, at_least(room.lines, size_t(24) * (wide + LANES)), v);
        multiply(v, m);
        give(group * rows, m);
    }
};

// take transforms the input of the tiles: to[36][in][n].
void Tiles::take(int first, float *lines, float *to) const {
    const int line = wide + LANES;
    for (int c = 0; c < p.in; c++)
        for (int r = 0; r < rows; r++) {
            // lines[row][x mod 4][tile]
            for (int y = 0; y < 6; y++) {
                float *l = lines + size_t(y) * 4 * line;
                int at = 4 * (first + r) + y - 1;
                if (at < 0 || at >= h) {
                    std::fill(l, l + 4 * line, 0.f);
                    continue;
                }
                deal(src + (size_t(c) * h + at) * w, w, 1, 4, line, l);
            }
            for (int t = 0; t < wide; t += LANES) {
                Vec d[36], u[36], q[6];
                for (int y = 0; y < 6; y++)
                    for (int x = 0; x < 6; x++) d[6 * y + x] = load(lines + (size_t(y) * 4 + (x & 3)) * line + t + (x >> 2));
                for (int x = 0; x < 6; x++) {
                    before(d + x, 6, q);
                    for (int y = 0; y < 6; y++) u[6 * y + x] = q[y];
                }
                for (int y = 0; y < 6; y++) {
                    before(u + 6 * y, 1, q);
                    for (int x = 0; x < 6; x++) store(to + (6 * y + x) * in_plane + c * n + size_t(r) * wide + t, q[x]);
                }
            }
        }
}

// multiply sums over the input's channels: to[36][out][n].
void Tiles::multiply(const float *from, float *to) const {
    const int outs = up_to(p.out, OUTS);
    for (int k = 0; k < 36; k++) {
        const float *u = p.weights->data() + size_t(k) * outs * p.in, *v = from + k * in_plane;
        float *m = to + k * out_plane;
        for (int o = 0; o < outs; o += OUTS, u += OUTS * p.in) {
            size_t t = 0;
            for (; n - t >= 5 * LANES || n - t == 3 * LANES; t += 3 * LANES) product<3>(u, v + t, n, p.in, m + o * n + t, n);
            for (; n - t >= 2 * LANES; t += 2 * LANES) product<2>(u, v + t, n, p.in, m + o * n + t, n);
            for (; t < n; t += LANES) product<1>(u, v + t, n, p.in, m + o * n + t, n);
        }
    }
}

// give transforms the products back.
void Tiles::give(int first, const float *from) const {
    for (int o = 0; o < p.out; o++)
        for (int r = 0; r < rows; r++)
            for (int t = 0; t < across; t += LANES) {
                Vec m[36], u[24], q[4];
                for (int k = 0; k < 36; k++) m[k] = load(from + k * out_plane + o * n + size_t(r) * wide + t);
                for (int x = 0; x < 6; x++) {
                    after(m + x, 6, q);
                    for (int y = 0; y < 4; y++) u[6 * y + x] = q[y];
                }
                for (int y = 0; y < 4; y++) {
                    int at = 4 * (first + r) + y;
                    if (at >= h) break;
                    after(u + 6 * y, 1, q);
                    float tile[4][LANES];
                    for (int x = 0; x < 4; x++) store(tile[x], p.finish(q[x], o));
                    float *d = dst + (size_t(o) * h + at) * w + 4 * t;
                    const int left = w - 4 * t;
                    if (left >= 4 * LANES)
                        for (int i = 0; i < LANES; i++)
                            for (int x = 0; x < 4; x++) d[4 * i + x] = tile[x][i];
                    else
                        for (int i = 0; i < left; i++) d[i] = tile[i & 3][i >> 2];
                }
            }
}

// Direct is the plain way, for steps and holes: rows of the output.
struct Direct {
    const Plan &p;
    const float *src;
    float *dst;
    int w, h, ow, oh, line;

    Direct(const Plan &plan, const float *s, float *d, int width, int height) : p(plan), src(s), dst(d), w(width), h(height) {
        ow = p.side(w);
        oh = p.side(h);
        line = up_to(ow, LANES) + up_to(2 * p.hole / p.step + 1, LANES);
    }

    // row needs room for the lines [in][row of the kernel][x mod step][column].
    void row(int y, std::vector<float> &room) const {
        float *lines = at_least(room, size_t(p.in) * 3 * p.step * line);
        for (int c = 0; c < p.in; c++)
            for (int k = 0; k < 3; k++) {
                const int at = y * p.step + k * p.hole - p.pad;
                float *l = lines + (size_t(c) * 3 + k) * p.step * line;
                if (at < 0 || at >= h)
                    std::fill(l, l + p.step * line, 0.f);
                else
                    deal(src + (size_t(c) * h + at) * w, w, p.pad, p.step, line, l);
            }
        const int n = up_to(ow, LANES);
        for (int o = 0; o < p.out; o += OUTS) {
            int x = 0;
            for (; n - x >= 5 * LANES || n - x == 3 * LANES; x += 3 * LANES) block<3>(o, y, x, lines);
            for (; n - x >= 2 * LANES; x += 2 * LANES) block<2>(o, y, x, lines);
            for (; x < n; x += LANES) block<1>(o, y, x, lines);
        }
    }

    template <int V> void block(int o, int y, int x, const float *lines) const {
        Vec acc[OUTS][V] = {};
        const float *wt = p.weights->data() + size_t(o) * p.in * 9;
        size_t to[3];
        for (int k = 0; k < 3; k++) to[k] = k * p.hole % p.step * line + k * p.hole / p.step + x;
        for (int i = 0; i < 3 * p.in; i++, lines += p.step * line)
            for (int k = 0; k < 3; k++, wt += OUTS)
                for (int v = 0; v < V; v++) {
                    Vec d = load(lines + to[k] + LANES * v);
                    for (int j = 0; j < OUTS; j++) acc[j][v] += wt[j] * d;
                }
        for (int k = 0; k < OUTS && o + k < p.out; k++)
            for (int v = 0; v < V; v++) {
                float *d = dst + (size_t(o + k) * oh + y) * ow + x + LANES * v;
                Vec r = p.finish(acc[k][v], o + k);
                if (x + LANES * (v + 1) <= ow)
                    store(d, r);
                else
                    for (int i = 0; x + LANES * v + i < ow; i++) d[i] = r[i];
            }
    }
};

// Doubling is a transposed 2 × 2 convolution of step 2: each place gives 2 × 2 places of the output.
struct Doubling {
    const Plan &p;
    const float *src;
    float *dst;
    int w, h;

    void row(int y, std::vector<float> &room) const {
        const int line = up_to(w, 2 * LANES);
        float *lines = at_least(room, size_t(p.in) * line);
        for (int c = 0; c < p.in; c++) deal(src + (size_t(c) * h + y) * w, w, 0, 1, line, lines + size_t(c) * line);
        for (int o = 0; o < p.out; o++)
            for (int x = 0; x < line; x += 2 * LANES) {
                float four[4][2 * LANES];
                product<2>(p.weights->data() + size_t(o) * p.in * 4, lines + x, line, p.in, four[0], 2 * LANES);
                const int n = std::min(2 * LANES, w - x);
                for (int k = 0; k < 2; k++) {
                    float *d = dst + ((size_t(o) * h + y) * 2 + k) * 2 * w + 2 * x;
                    for (int i = 0; i < n; i++) {
                        d[2 * i] = four[2 * k][i] + p.bias[o];
                        d[2 * i + 1] = four[2 * k + 1][i] + p.bias[o];
                    }
                }
            }
    }
};

#if defined(__x86_64__)
#pragma GCC pop_options
#endif

}  // namespace
#endif
