// Entry points of the renderer, called from Python through ctypes.
//   GPU: nvcc -O3 -use_fast_math -shared -Xcompiler -fPIC -arch=native renderer.cu -o renderer.so   (pointers are device pointers)
//   CPU: g++ -O3 -ffast-math -fopenmp -shared -fPIC -x c++ renderer.cu -o renderer.so               (pointers are host pointers)
#include "renderer.h"

FN void picture_pixel(const Scene &s, int i, int w, int h, int spp, int depth, float *rgb, uint8_t *cls, uint8_t *u8, uint8_t *v8, uint8_t *tooth) {
    int x = i % w, y = i / w;
    Rng rng; rng.s = hash32(i * 9781u + (uint32_t)s.seed * 6271u);
    V c = v3(0, 0, 0);
    for (int k = 0; k < spp; k++) c = c + shade_dir(s, pixel_dir(s, x + rnd(rng), y + rnd(rng), w, h), rng, depth);
    rgb[3 * i] = c.x / spp; rgb[3 * i + 1] = c.y / spp; rgb[3 * i + 2] = c.z / spp;
    float u, v; int t;
    label_dir(s, pixel_dir(s, x + 0.5f, y + 0.5f, w, h), cls + i, &u, &v, &t);
    u8[i] = (uint8_t)(clampf(u, 0, 1) * 255 + 0.5f); v8[i] = (uint8_t)(clampf(v, 0, 1) * 255 + 0.5f); tooth[i] = (uint8_t)t;
}

// Whether the mating tooth wiped a flank, on a grid of cell centres: heights outer, lengths inner. This is the truth that photos.py measures.
FN uint8_t wiped_at(const Scene &s, int tooth, int side, int i, int nu, int nv) {
    return s.has_patch > 0.5f && contact_at(s, tooth, side, (i % nu + 0.5f) / nu, (i / nu + 0.5f) / nv) < 0;
}

// One cell of a flattened flank: heights outer, lengths inner. `warp` holds where the map's cells really lie on the flank, as an outline that is a little off has them:
// u = warp[0] + warp[1] u + warp[2] v, v = warp[3] + warp[4] u + warp[5] v. bits: 1 nothing in front, 2 in the contact,
// 4 compound as the contact left it: what shows beside a wiped patch, or the patch itself where the mating tooth was painted; 8 this flank is what shows, 16 the gear is.
FN void map_cell(const Scene &s, int tooth, int side, const float *warp, int i, int nu, int nv, int spp, int depth, float *rgb, uint8_t *bits) {
    Rng rng; rng.s = hash32(i * 9781u + (uint32_t)s.seed * 6271u + tooth * 977u + side);
    V eye = v3(s.cam[0], s.cam[1], s.cam[2]), c = v3(0, 0, 0);
    float u = 0, v = 0;
    for (int k = -1; k < spp; k++) {
        float x = (i % nu + (k < 0 ? 0.5f : rnd(rng))) / nu, y = (i / nu + (k < 0 ? 0.5f : rnd(rng))) / nv;
        float wu = warp[0] + warp[1] * x + warp[2] * y, wv = warp[3] + warp[4] * x + warp[5] * y;
        V dir = flank_point(s, tooth, side, wu, wv) - eye, f = v3(s.cam[9], s.cam[10], s.cam[11]);
        float away = sqrtf(dot(dir, dir));
        dir = dir * (1 / fmaxf(dot(dir, f), 1e-3f));
        if (k >= 0) { c = c + shade_dir(s, dir, rng, depth); continue; }
        u = wu; v = wv;
        uint8_t cls; float lu, lv; int t, n = (int)s.teeth;
        label_dir(s, dir, &cls, &lu, &lv, &t);
        float far; Dist hit;
        bool seen = dot(dir, f) > 0 && (!march(s, eye, unit(dir), 900, far, hit) || far > away - 0.8f);
        bool here = (cls & 15) == 2 + side && t == (tooth % n + n) % n && fabsf(lu - u) < 0.03f && fabsf(lv - v) < 0.06f;
        bool on = u >= 0 && u <= 1 && v >= 0 && v <= 1;
        bool contact = on && painted_at(s, tooth, side) && s.has_patch > 0.5f && contact_at(s, (tooth % n + n) % n, side, u, v) < 0;
        bool coat = s.polarity > 0.5f ? contact : !contact && (cls & 64);
        *bits = (uint8_t)((seen ? 1 : 0) | (contact ? 2 : 0) | (here && coat ? 4 : 0) | (here ? 8 : 0) | ((cls & 15) ? 16 : 0));
    }
    rgb[3 * i] = c.x / spp; rgb[3 * i + 1] = c.y / spp; rgb[3 * i + 2] = c.z / spp;
}

#ifdef __CUDACC__
__device__ void share_scene(const Scene *from, Scene *to) {
    for (int i = threadIdx.x; i < (int)(sizeof(Scene) / 4); i += blockDim.x) ((float *)to)[i] = ((const float *)from)[i];
    __syncthreads();
}
__global__ void picture_kernel(const Scene *all, int w, int h, int spp, int depth, float *rgb, uint8_t *cls, uint8_t *u, uint8_t *v, uint8_t *t) {
    __shared__ Scene s;
    share_scene(all + blockIdx.z, &s);
    size_t o = (size_t)blockIdx.z * w * h;
    int tx = blockIdx.x * 8 + threadIdx.x % 8, ty = blockIdx.y * 8 + threadIdx.x / 8;
    if (tx < w && ty < h) picture_pixel(s, ty * w + tx, w, h, spp, depth, rgb + 3 * o, cls + o, u + o, v + o, t + o);
}
extern "C" void render_pictures(const Scene *s, int n, int w, int h, int spp, int depth, float *rgb, uint8_t *cls, uint8_t *u, uint8_t *v, uint8_t *t) {
    picture_kernel<<<dim3((w + 7) / 8, (h + 7) / 8, n), 64>>>(s, w, h, spp, depth, rgb, cls, u, v, t);
}
__global__ void wiped_kernel(const Scene *s, int tooth, int side, int nu, int nv, uint8_t *out) {
    int i = blockIdx.x * blockDim.x + threadIdx.x;
    if (i < nu * nv) out[i] = wiped_at(*s, tooth, side, i, nu, nv);
}
extern "C" void wiped_grid(const Scene *s, int tooth, int side, int nu, int nv, uint8_t *out) {
    wiped_kernel<<<(nu * nv + 127) / 128, 128>>>(s, tooth, side, nu, nv, out);
}
__global__ void maps_kernel(const Scene *all, const int *tooth, const int *side, const float *warp, int maps, int nu, int nv, int spp, int depth, float *rgb, uint8_t *bits) {
    __shared__ Scene s;
    share_scene(all + blockIdx.y / maps, &s);
    int i = blockIdx.x * blockDim.x + threadIdx.x;
    size_t m = blockIdx.y, o = m * nu * nv;
    if (i < nu * nv) map_cell(s, tooth[m], side[m], warp + 6 * m, i, nu, nv, spp, depth, rgb + 3 * o, bits + o + i);
}
// `maps` flanks of each of n scenes.
extern "C" void render_maps(const Scene *s, const int *tooth, const int *side, const float *warp, int n, int maps, int nu, int nv, int spp, int depth, float *rgb, uint8_t *bits) {
    maps_kernel<<<dim3((nu * nv + 63) / 64, n * maps), 64>>>(s, tooth, side, warp, maps, nu, nv, spp, depth, rgb, bits);
}
extern "C" int last_error() { return (int)cudaGetLastError(); }
#else
extern "C" void render_maps(const Scene *s, const int *tooth, const int *side, const float *warp, int n, int maps, int nu, int nv, int spp, int depth, float *rgb, uint8_t *bits) {
    for (int m = 0; m < n * maps; m++) {
        size_t o = (size_t)m * nu * nv;
#pragma omp parallel for schedule(dynamic, 256)
        for (int i = 0; i < nu * nv; i++) map_cell(s[m / maps], tooth[m], side[m], warp + 6 * m, i, nu, nv, spp, depth, rgb + 3 * o, bits + o + i);
    }
}
extern "C" void render_pictures(const Scene *s, int n, int w, int h, int spp, int depth, float *rgb, uint8_t *cls, uint8_t *u, uint8_t *v, uint8_t *t) {
    for (int j = 0; j < n; j++) {
        size_t o = (size_t)j * w * h;
#pragma omp parallel for schedule(dynamic, 256)
        for (int i = 0; i < w * h; i++) picture_pixel(s[j], i, w, h, spp, depth, rgb + 3 * o, cls + o, u + o, v + o, t + o);
    }
}
extern "C" void wiped_grid(const Scene *s, int tooth, int side, int nu, int nv, uint8_t *out) {
    for (int i = 0; i < nu * nv; i++) out[i] = wiped_at(*s, tooth, side, i, nu, nv);
}
extern "C" int last_error() { return 0; }
#endif
extern "C" int scene_floats() { return (int)(sizeof(Scene) / sizeof(float)); }
