// Vectors, smooth minima and noise of the renderer.
#pragma once
#include <math.h>
#include <stdint.h>

#ifdef __CUDACC__
#define FN __device__ __forceinline__
#else
#define FN static inline
#endif

struct V { float x, y, z; };
FN V v3(float x, float y, float z) { V a; a.x = x; a.y = y; a.z = z; return a; }
FN V operator+(V a, V b) { return v3(a.x + b.x, a.y + b.y, a.z + b.z); }
FN V operator-(V a, V b) { return v3(a.x - b.x, a.y - b.y, a.z - b.z); }
FN V operator*(V a, V b) { return v3(a.x * b.x, a.y * b.y, a.z * b.z); }
FN V operator*(V a, float s) { return v3(a.x * s, a.y * s, a.z * s); }
FN float dot(V a, V b) { return a.x * b.x + a.y * b.y + a.z * b.z; }
FN V cross(V a, V b) { return v3(a.y * b.z - a.z * b.y, a.z * b.x - a.x * b.z, a.x * b.y - a.y * b.x); }
FN V unit(V a) { return a * (1.0f / sqrtf(dot(a, a) + 1e-20f)); }
FN float clampf(float x, float a, float b) { return fminf(fmaxf(x, a), b); }
FN float mixf(float a, float b, float t) { return a + (b - a) * t; }
FN V mixv(V a, V b, float t) { return a + (b - a) * t; }
FN float smooth(float a, float b, float x) { float t = clampf((x - a) / (b - a), 0, 1); return t * t * (3 - 2 * t); }
FN float smin(float a, float b, float k) { float h = fmaxf(k - fabsf(a - b), 0.0f) / k; return fminf(a, b) - h * h * k * 0.25f; }
FN float smax(float a, float b, float k) { return -smin(-a, -b, k); }
// The same with any power, at least 2, instead of the square: the higher, the sharper the edge in the middle of as wide a rounding.
FN float smax_power(float a, float b, float k, float power) { float h = fmaxf(k - fabsf(a - b), 0.0f) / k; return fmaxf(a, b) + (h > 0 ? powf(h, power) * k / (2 * power) : 0.0f); }

FN uint32_t hash32(uint32_t x) { x ^= x >> 16; x *= 0x7feb352dU; x ^= x >> 15; x *= 0x846ca68bU; x ^= x >> 16; return x; }
FN float hash1(uint32_t x) { return hash32(x) * (1.0f / 4294967296.0f); }
FN float lattice(int x, int y, int z, uint32_t s) { return hash1((uint32_t)x * 0x8da6b343U ^ (uint32_t)y * 0xd8163841U ^ (uint32_t)z * 0xcb1ab31fU ^ s); }
FN float noise3(float x, float y, float z, uint32_t s) {
    float fx = floorf(x), fy = floorf(y), fz = floorf(z);
    int ix = (int)fx, iy = (int)fy, iz = (int)fz;
    x -= fx; y -= fy; z -= fz;
    x = x * x * (3 - 2 * x); y = y * y * (3 - 2 * y); z = z * z * (3 - 2 * z);
    float a = mixf(mixf(lattice(ix, iy, iz, s), lattice(ix + 1, iy, iz, s), x), mixf(lattice(ix, iy + 1, iz, s), lattice(ix + 1, iy + 1, iz, s), x), y);
    float b = mixf(mixf(lattice(ix, iy, iz + 1, s), lattice(ix + 1, iy, iz + 1, s), x), mixf(lattice(ix, iy + 1, iz + 1, s), lattice(ix + 1, iy + 1, iz + 1, s), x), y);
    return mixf(a, b, z);
}
FN float noise2(float x, float y, uint32_t s) {
    float fx = floorf(x), fy = floorf(y);
    int ix = (int)fx, iy = (int)fy;
    x -= fx; y -= fy;
    x = x * x * (3 - 2 * x); y = y * y * (3 - 2 * y);
    return mixf(mixf(lattice(ix, iy, 7, s), lattice(ix + 1, iy, 7, s), x), mixf(lattice(ix, iy + 1, 7, s), lattice(ix + 1, iy + 1, 7, s), x), y);
}
FN float fbm3(V p, uint32_t s) { return 0.5f * noise3(p.x, p.y, p.z, s) + 0.3f * noise3(p.x * 2.1f, p.y * 2.1f, p.z * 2.1f, s + 1) + 0.2f * noise3(p.x * 4.3f, p.y * 4.3f, p.z * 4.3f, s + 2); }
FN float fbm2(float x, float y, uint32_t s) { return 0.5f * noise2(x, y, s) + 0.3f * noise2(x * 2.1f, y * 2.1f, s + 1) + 0.2f * noise2(x * 4.3f, y * 4.3f, s + 2); }
