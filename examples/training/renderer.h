// A small path tracer of painted ring gears, one source for the GPU (nvcc) and for the CPU (g++ -fopenmp).
//
// The scene is a signed-distance field: ring gear, hub, housing, bench, clutter. Frame of the gear: axis = z from the pitch apex to the
// back, R = cone distance, h = height above the pitch cone. Flank coordinates: u = share of the face width between the ends' edge breaks, v = share of the local depth between the
// upper end of the root fillet and the lower end of the tip's edge break: the flank that works. Lengths are millimetres, angles radians, colours linear.
#pragma once
#include "gear.h"

enum { M_NONE, M_GEAR, M_HUB, M_HOUSE, M_PLANE0, M_PLANE1, M_CAP, M_COG, M_BLOCK };
struct Dist { float d; int m, k; };
FN void take(Dist &a, float d, int m, int k) { if (d < a.d) { a.d = d; a.m = m; a.k = k; } }

FN Dist scene_sdf(const Scene &s, V p) {
    Dist o; o.d = gear_sdf(s, p); o.m = M_GEAR; o.k = 0;
    float r = sqrtf(p.x * p.x + p.y * p.y);
    for (int i = 0; i < 4; i++) {
        const float *g = s.hub + 4 * i;
        if (g[1] <= 0) continue;
        float dr = fmaxf(g[0] - r, r - g[1]), dz = fmaxf(g[2] - p.z, p.z - g[3]);
        take(o, smax(dr, dz, 1.5f), M_HUB, i);
    }
    if (s.house_r > 0) {
        float w = fmaxf(s.house_r - r, p.x * s.house_nx + p.y * s.house_ny - s.house_c);
        take(o, w, M_HOUSE, 0);
        take(o, p.z - s.wall_z, M_HOUSE, 1);
    }
    for (int i = 0; i < 2; i++) {
        const float *q = s.plane + 4 * i;
        if (q[3] < 1e5f) take(o, p.x * q[0] + p.y * q[1] + p.z * q[2] + q[3], i ? M_PLANE1 : M_PLANE0, i);
    }
    for (int i = 0; i < 8; i++) {
        const float *c = s.caps + 10 * i;
        if (c[6] <= 0) continue;
        V a = v3(c[0], c[1], c[2]), b = v3(c[3], c[4], c[5]), pa = p - a, ba = b - a;
        float t = clampf(dot(pa, ba) / dot(ba, ba), 0, 1);
        V q = pa - ba * t;
        take(o, sqrtf(dot(q, q)) - c[6], M_CAP, i);
    }
    for (int i = 0; i < 2; i++) {
        const float *c = s.block + 16 * i;
        if (c[12] <= 0) continue;
        V q = p - v3(c[0], c[1], c[2]), e1 = v3(c[3], c[4], c[5]), e2 = v3(c[6], c[7], c[8]);
        float x = fabsf(dot(q, e1)) - c[9], y = fabsf(dot(q, e2)) - c[10], z = fabsf(dot(q, cross(e1, e2))) - c[11];
        V out = v3(fmaxf(x, 0), fmaxf(y, 0), fmaxf(z, 0));
        take(o, sqrtf(dot(out, out)) + fminf(fmaxf(x, fmaxf(y, z)), 0.0f) - c[12], M_BLOCK, i);
    }
    if (s.cover[1] > 0) {
        const float *c = s.cover;
        float d = smax(fmaxf(c[0] - r, r - c[1]), fmaxf(c[2] - p.z, p.z - c[3]), 1.0f);
        take(o, smax(d, p.x * c[4] + p.y * c[5] - c[6], 1.0f), M_HUB, 4);
    }
    if (s.bolts[0] > 0) {
        const float *c = s.bolts;
        float pitch = 6.2831853f / c[0], th = atan2f(p.y, p.x) - c[5];
        th -= pitch * rintf(th / pitch);
        float x = fabsf(r * sinf(th)), y = fabsf(r * cosf(th) - c[1]);
        float hexagon = fmaxf(x, 0.5f * x + 0.8660254f * y) - c[3];
        take(o, smax(hexagon, fabsf(p.z - c[2] + 0.5f * c[4]) - 0.5f * c[4], 0.5f), M_HUB, 5);
    }
    if (s.cog[6] > 0) {
        V q = p - v3(s.cog[0], s.cog[1], s.cog[2]), ax = v3(s.cog[3], s.cog[4], s.cog[5]);
        float t = dot(q, ax);
        float bound = sqrtf(dot(q, q)) - s.cog[6] * 1.3f - s.cog[7];
        if (bound > 4) take(o, bound, M_COG, 0);
        else {
            V e1 = unit(cross(ax, fabsf(ax.z) < 0.9f ? v3(0, 0, 1) : v3(1, 0, 0))), e2 = cross(ax, e1);
            float X = dot(q, e1), Y = dot(q, e2), rr = sqrtf(X * X + Y * Y), th = atan2f(Y, X) * s.cog[8] + t * s.cog[9];
            float w = th / 6.2831853f; w = fabsf(w - rintf(w)) * 2;
            float rad = s.cog[6] * (1 + 0.25f * t / s.cog[7]) - s.cog[10] * smooth(0.25f, 0.75f, w);
            take(o, smax((rr - rad) * 0.6f, fabsf(t) - s.cog[7], 1.0f), M_COG, 0);
        }
    }
    return o;
}

FN bool march(const Scene &s, V o, V d, float tmax, float &t, Dist &hit) {
    t = 0.02f;
    for (int i = 0; i < 160; i++) {
        V p = o + d * t;
        hit = scene_sdf(s, p);
        float eps = 0.004f + 0.00015f * t;
        if (hit.d < eps) return true;
        t += hit.d * 0.8f + eps * 0.3f;
        if (t > tmax) return false;
    }
    return t < tmax * 0.5f && hit.d < 0.15f;
}

FN bool shadowed(const Scene &s, V o, V d, float tmax) {
    float t = 0.12f;
    for (int i = 0; i < 90; i++) {
        float q = scene_sdf(s, o + d * t).d;
        if (q < 0.012f) return true;
        t += q * 0.9f + 0.012f;
        if (t > tmax) return false;
    }
    return false;
}

FN V normal_at(const Scene &s, V p) {
    const float e = 0.03f;
    float a = scene_sdf(s, p + v3(e, -e, -e)).d, b = scene_sdf(s, p + v3(-e, -e, e)).d, c = scene_sdf(s, p + v3(-e, e, -e)).d, d = scene_sdf(s, p + v3(e, e, e)).d;
    return unit(v3(a - b - c + d, -a - b + c + d, -a + b - c + d));
}

// Below 0 within a rounded shape about nothing, of these half sizes.
FN float rounded(float a, float b, float along, float up, float power) {
    return powf(powf(fabsf(a) / along, power) + powf(fabsf(b) / up, power), 1 / power) - 1;
}

// Signed contact function of a flank: below 0 the mating tooth wiped (or printed) the film, but for the gaps of a broken contact.
FN float contact_at(const Scene &s, int tooth, int side, float u, float v) {
    const float *q = s.patch + 8 * side;
    uint32_t k = (uint32_t)s.seed * 977u + tooth * 31u + side * 7u;
    float cu = q[0] + (hash1(k) + hash1(k + 1) + hash1(k + 2) - 1.5f) * 2 * s.scatter_u;
    float cv = q[1] + (hash1(k + 3) + hash1(k + 4) + hash1(k + 5) - 1.5f) * 2 * s.scatter_v;
    float grow = 0.9f + 0.2f * hash1(k + 6);
    float a = (u - cu), b = (v - cv) - (q[4] + s.bend[side] * a) * a;
    float e = rounded(a, b, q[2] * grow, q[3] * grow, q[5]);
    const float *second = s.island + 4 * side;
    if (second[2] > 0) e = fminf(e, rounded(a - second[0], b - second[1], second[2] * grow, second[3] * grow, q[5]));
    float fine = fbm2(u * 60 + tooth * 13.7f, v * 22 + side * 5, k + 11) - 0.5f, coarse = fbm2(u * 9 + tooth * 3.1f, v * 5, k + 23) - 0.5f;
    float slide = noise2(u * 4, v * 40 + tooth, k + 37) - 0.5f;
    return e + q[6] * (0.6f * fine + 0.8f * coarse + s.slide * slide);
}

// Whether a flank was painted: some teeth in a row, on both flanks or on the convex ones only.
FN bool painted_at(const Scene &s, int tooth, int side) {
    int n = (int)s.teeth, rel = ((tooth - (int)s.first_tooth) % n + n) % n;
    return rel < (int)s.painted_teeth && !(side == 1 && s.other_flank_painted < 0.5f);
}

// Film thickness (1 = a normal coat) and whether the point lies in the contact patch.
FN float film_at(const Scene &s, const FlankAt &f, bool on_flank, bool &in_patch) {
    in_patch = false;
    if (!painted_at(s, f.tooth, f.side)) return 0;
    uint32_t k = (uint32_t)s.seed * 131u + f.tooth * 17u + f.side;
    // streaks lean and waver, or they would end in boxes
    float su = f.u + 0.35f / s.streak_u * (fbm2(f.u * 7, f.v * s.streak_v * 1.7f, k + 71) - 0.5f) * 2;
    float sv = f.v + s.streak_lean * (f.u - 0.5f) + 0.7f / s.streak_v * (fbm2(f.u * 6 + f.tooth * 2.1f, f.v * 5, k + 73) - 0.5f) * 2;
    float st = fbm2(su * s.streak_u + f.tooth * 7.3f, sv * s.streak_v + f.side * 9, k), st2 = fbm2(su * s.streak_u * 0.75f + 40, sv * s.streak_v * 0.55f + 80 + f.tooth, k + 5);
    float thick = fmaxf(0.0f, 1 + s.streak * 2.6f * (st - 0.5f));
    float bare = smooth(s.bare - 0.025f, s.bare + 0.015f, st2);
    bare *= smooth(s.fleck - 0.02f, s.fleck + 0.02f, fbm2(su * s.streak_u * 2.5f, sv * s.streak_v * 0.8f + f.tooth * 5, k + 51));
    bare *= smooth(s.blotch - 0.015f, s.blotch + 0.015f, fbm2(su * 2.6f + f.tooth * 5.7f, sv * 4.5f + f.side * 3, k + 57));
    // the brush misses ends and edges raggedly
    float edge = fminf(fminf(f.u + s.end_run, 1 + s.end_run - f.u) * 8, fminf(f.v + 0.25f, 1 + s.reach - f.v) * 3);
    bare *= smooth(0, 0.6f, edge + s.ragged * 4 * (st2 - 0.55f) + 0.3f);
    thick *= bare;
    // the flank's coat runs on past its ends: where it stops says little of where the flank does
    float sway = 0.3f + 1.4f * noise2(f.u * 4 + f.tooth * 3, 5, k + 93);
    bool runs_on = s.over + s.under > 0 && f.v > -s.under * sway && f.v < 1 + s.over * sway;
    if (!on_flank && runs_on) return thick;
    if (!on_flank) {
        float share = f.v > 0.5f ? s.top_share : s.root_share;
        return thick * smooth(1 - share - 0.1f, 1 - share + 0.1f, noise2(f.u * 5 + f.tooth * 3, f.v * 3, k + 91));
    }
    if (s.has_patch > 0.5f && s.ghost[4 * f.side + 2] > 0) {
        const float *q = s.patch + 8 * f.side, *g = s.ghost + 4 * f.side;
        float a = f.u - q[0] - g[0], b = f.v - q[1] - g[1] - q[4] * a;
        thick *= 1 - s.ghost_left * smooth(0.1f, -0.1f, rounded(a, b, g[2], g[3], q[5]) + 0.6f * (st - 0.5f));
    }
    if (s.has_patch > 0.5f) {
        float c = contact_at(s, f.tooth, f.side, f.u, f.v);
        in_patch = c < 0;
        if (s.gaps > 0) c = fmaxf(c, 4 * (fbm2(f.u * 24 + f.tooth * 5.3f, f.v * 14 + f.side * 3, k + 61) - 0.75f + 0.3f * s.gaps));
        float w = smooth(0.035f, -0.035f, c);
        float residue = s.patch[8 * f.side + 7] * mixf(1, 2 * hash1(k + 201), s.uneven) * (0.4f + 1.2f * noise2(f.u * 6, f.v * 50 + f.tooth, k + 3));
        if (s.polarity < 0.5f) {
            float rim = s.rim * smooth(0.28f, 0.02f, c) * (c > 0 ? 1.0f : 0.0f);
            thick = mixf(thick * (1 + rim), thick * residue + 0.02f * s.stain, w);
        } else thick = mixf(0.02f * s.stain * thick, fmaxf(thick, 0.15f) * (0.55f + residue), w);
    } else if (s.polarity > 0.5f) thick *= 0.03f * s.stain;
    return thick;
}

struct Surface { V n, diffuse, f0; float rough; };

FN V texture(const Scene &s, int i, V p) {
    const float *c = s.plane_col + 6 * i;
    V a = v3(c[0], c[1], c[2]), b = v3(c[3], c[4], c[5]);
    int kind = (int)s.plane_kind[i];
    uint32_t k = (uint32_t)s.seed + 400 + i;
    if (kind == 0) return mixv(a, b, fbm3(p * 0.05f, k));
    if (kind == 1) return mixv(a, b, fbm3(v3(p.x * 0.012f, p.y * 0.15f, p.z * 0.15f), k));             // wood
    if (kind == 2) { float w = sinf(p.x * 0.9f) * sinf(p.y * 0.9f); return mixv(a, b, 0.5f + 0.3f * w + 0.4f * (fbm3(p * 0.1f, k) - 0.5f)); }  // cloth
    if (kind == 3) return mixv(a, b, smooth(0.35f, 0.6f, fbm3(p * 0.02f, k)));                          // stains
    if (kind == 5) return mixv(a, b, smooth(0.45f, 0.55f, noise3(p.x * 1.6f, p.y * 1.6f, p.z * 1.6f, k)) * (0.5f + fbm3(p * 0.03f, k + 2)));     // concrete
    if (kind == 6) return mixv(a, b, smooth(0.52f, 0.56f, noise3(p.x * 0.5f, p.y * 0.22f, p.z * 0.5f, k)) * smooth(0.1f, 0.2f, fabsf(sinf(p.y * 0.35f))));  // print
    float q = floorf(p.x / 40) + floorf(p.y / 40);
    return mixv(a, b, fabsf(q - 2 * floorf(q / 2)));
}

FN Surface surface_at(const Scene &s, V p, const Dist &hit) {
    Surface o;
    o.n = normal_at(s, p);
    uint32_t seed = (uint32_t)s.seed;
    if (hit.m == M_GEAR) {
        V base = v3(s.steel[0], s.steel[1], s.steel[2]);
        float m = fbm3(p * s.mottle_scale, seed + 3);
        base = base * fmaxf(0.15f, 1 + s.mottle * 2 * (m - 0.5f));
        base = mixv(base, v3(0.25f, 0.11f, 0.04f), s.rust * smooth(0.5f, 0.75f, fbm3(p * 0.25f, seed + 9)));
        float metal = clampf(1 + s.mottle * 2.5f * (m - 0.5f), 0.2f, 1.6f);
        V f0 = v3(s.steel_f0[0], s.steel_f0[1], s.steel_f0[2]) * metal;
        o.rough = clampf(s.steel_rough * (0.75f + 0.5f * m), 0.08f, 1.0f);
        FlankAt f = flank_at(s, p);
        bool teeth = f.u > -0.02f - s.end_run && f.u < 1.02f + s.end_run && f.v > -0.6f;
        if (s.grain > 0 && teeth) {   // marks of the cutter or the wheel, along the tooth
            float line = noise2(f.u * 3 + f.tooth * 1.7f, f.v * 70 + f.side * 40, seed + 21) - 0.5f;
            f0 = f0 * (1 + s.grain * line);
            o.n = unit(o.n + unit(p) * (s.grain * 0.12f * line));
        }
        if (teeth) {
            bool in, on = f.v >= 0 && f.v <= 1 && fmaxf(f.dconv, f.dconc) > -0.25f;
            float t = film_at(s, f, on, in);
            V paint = v3(s.paint[0], s.paint[1], s.paint[2]);
            float op = 1 - expf(-t * s.opacity), tint = 1 - expf(-t * s.opacity * 4);
            base = mixv(mixv(base, base * paint * 1.6f, tint), paint * (0.85f + 0.15f * clampf(t, 0, 2) * 0.5f), op);
            f0 = mixv(f0, v3(0.04f, 0.04f, 0.04f), op);
            o.rough = mixf(o.rough, s.paint_rough, op);
            if (op > 0.05f) {  // brush marks catch the light
                float e = 0.004f;
                FlankAt g = f; g.v += e * 4; bool d0; float t2 = film_at(s, g, on, d0);
                o.n = unit(o.n + v3(0, 0, 1) * clampf((t2 - t) * 1.1f, -0.25f, 0.25f));
            }
        }
        o.diffuse = base; o.f0 = f0;
        return o;
    }
    float m = fbm3(p * 0.12f, seed + 60 + hit.m), m2 = fbm3(p * 0.9f, seed + 80);
    o.f0 = v3(0.04f, 0.04f, 0.04f); o.rough = 0.6f;
    if (hit.m == M_HUB || hit.m == M_HOUSE || hit.m == M_COG) {
        V c = v3(s.other[0], s.other[1], s.other[2]);
        o.diffuse = c * (0.55f + 0.6f * m + 0.3f * m2) * (hit.m == M_HOUSE ? 0.8f : 1.0f);
        o.f0 = v3(1, 1, 1) * (s.other_f0 * (0.5f + m));
        o.rough = clampf(s.other_rough * (0.7f + 0.6f * m2), 0.1f, 1.0f);
        o.n = unit(o.n + v3(m2 - 0.5f, noise3(p.x, p.y, p.z, seed + 5) - 0.5f, m - 0.5f) * s.other_bump);
    } else if (hit.m == M_CAP || hit.m == M_BLOCK) {
        const float *c = hit.m == M_CAP ? s.caps + 10 * hit.k + 7 : s.block + 16 * hit.k + 13;
        o.diffuse = v3(c[0], c[1], c[2]) * (0.7f + 0.5f * m);
        o.rough = 0.35f;
    } else o.diffuse = texture(s, hit.k, p);
    return o;
}

struct Rng { uint32_t s; };
FN float rnd(Rng &r) { r.s = r.s * 747796405u + 2891336453u; uint32_t w = ((r.s >> ((r.s >> 28) + 4)) ^ r.s) * 277803737u; w = (w >> 22) ^ w; return (w >> 8) * (1.0f / 16777216.0f); }

FN V env(const Scene &s, V d, bool with_blobs) {
    float t = 0.5f + 0.5f * (d.x * s.up[0] + d.y * s.up[1] + d.z * s.up[2]);
    V c = mixv(v3(s.ground[0], s.ground[1], s.ground[2]), v3(s.sky[0], s.sky[1], s.sky[2]), smooth(0.2f, 0.9f, t));
    c = c * (0.6f + 0.8f * noise3(d.x * 3, d.y * 3, d.z * 3, (uint32_t)s.seed + 77));
    if (with_blobs) for (int i = 0; i < 6; i++) {
        const float *b = s.blob + 7 * i;
        if (b[3] < 1.5f && d.x * b[0] + d.y * b[1] + d.z * b[2] > b[3]) c = c + v3(b[4], b[5], b[6]);
    }
    return c;
}

FN void basis(V n, V &a, V &b) { a = unit(cross(n, fabsf(n.z) < 0.9f ? v3(0, 0, 1) : v3(1, 0, 0))); b = cross(n, a); }

FN V trace(const Scene &s, V o, V d, Rng &rng, int depth) {
    V L = v3(0, 0, 0), tp = v3(1, 1, 1);
    bool spec_ray = true;
    for (int i = 0; i < depth; i++) {
        float t; Dist hit;
        if (!march(s, o, d, 900, t, hit)) { L = L + tp * env(s, d, spec_ray); break; }
        V p = o + d * t;
        Surface m = surface_at(s, p, hit);
        if (dot(m.n, d) > 0) m.n = m.n - d * (1.02f * dot(m.n, d));
        m.n = unit(m.n);
        V po = p + m.n * 0.05f, view = d * -1.0f;
        // flash: a small lamp beside the lens
        if (s.flash_col[0] + s.flash_col[1] + s.flash_col[2] > 0) {
            V q = v3(s.flash[0], s.flash[1], s.flash[2]) - p;
            float r2 = dot(q, q); V l = unit(q); float nl = dot(m.n, l);
            if (nl > 0 && !shadowed(s, po, l, sqrtf(r2))) {
                V hv = unit(l + view); float nh = fmaxf(dot(m.n, hv), 0.0f), a = m.rough * m.rough, a2 = a * a, q1 = nh * nh * (a2 - 1) + 1;
                float D = fminf(a2 / (3.14159f * q1 * q1), 25.0f), nv = fmaxf(dot(m.n, view), 0.05f);
                V sp = m.f0 * (D / (4 * nv * fmaxf(nl, 0.05f)) * fminf(1.0f, 2 * nh * fminf(nl, nv) / fmaxf(dot(view, hv), 0.05f)));
                V c = v3(s.flash_col[0], s.flash_col[1], s.flash_col[2]) * (nl / r2);
                L = L + tp * c * (m.diffuse * 0.3183f + sp);
            }
        }
        // one lamp or window of the sky, for the diffuse part
        int nb = 0; for (int j = 0; j < 6; j++) nb += s.blob[7 * j + 3] < 1.5f;
        if (nb) {
            int pick = (int)(rnd(rng) * nb); if (pick >= nb) pick = nb - 1;
            const float *b = s.blob;
            for (int j = 0, c = 0; j < 6; j++) if (s.blob[7 * j + 3] < 1.5f) { if (c == pick) b = s.blob + 7 * j; c++; }
            V ax = v3(b[0], b[1], b[2]), e1, e2; basis(ax, e1, e2);
            float ct = mixf(b[3], 1, rnd(rng)), sn = sqrtf(fmaxf(0.0f, 1 - ct * ct)), ph = 6.2831853f * rnd(rng);
            V l = e1 * (sn * cosf(ph)) + e2 * (sn * sinf(ph)) + ax * ct;
            float nl = dot(m.n, l);
            if (nl > 0 && !shadowed(s, po, l, 500)) L = L + tp * m.diffuse * v3(b[4], b[5], b[6]) * (nl * 2 * (1 - b[3]) * nb);
        }
        if (i + 1 == depth) break;
        float fres = powf(1 - fmaxf(0.0f, dot(m.n, view)), 5.0f);
        V F = m.f0 + (v3(1, 1, 1) - m.f0) * (fres * (1 - m.rough) * 0.8f);
        float pf = clampf((F.x + F.y + F.z) / (F.x + F.y + F.z + m.diffuse.x + m.diffuse.y + m.diffuse.z + 1e-4f), 0.1f, 0.9f);
        V e1, e2; basis(m.n, e1, e2);
        float r1 = rnd(rng), r2 = rnd(rng), ph = 6.2831853f * r1;
        if (rnd(rng) < pf) {
            float a = m.rough * m.rough, ct = sqrtf((1 - r2) / (1 + (a * a - 1) * r2)), sn = sqrtf(fmaxf(0.0f, 1 - ct * ct));
            V hv = e1 * (sn * cosf(ph)) + e2 * (sn * sinf(ph)) + m.n * ct;
            d = d - hv * (2 * dot(d, hv));
            if (dot(d, m.n) <= 0) break;
            tp = tp * F * (1 / pf); spec_ray = true;
        } else {
            float sn = sqrtf(r2);
            d = e1 * (sn * cosf(ph)) + e2 * (sn * sinf(ph)) + m.n * sqrtf(1 - r2);
            tp = tp * m.diffuse * (1 / (1 - pf)); spec_ray = false;
        }
        d = unit(d); o = po;
    }
    return L;
}

FN V pixel_dir(const Scene &s, float x, float y, int w, int h) {  // x, y in pixels; the larger side spans 2 tanfov
    float k = 2 * s.tanfov / (w > h ? w : h);
    V r = v3(s.cam[3], s.cam[4], s.cam[5]), u = v3(s.cam[6], s.cam[7], s.cam[8]), f = v3(s.cam[9], s.cam[10], s.cam[11]);
    return f + r * ((x - 0.5f * w) * k) - u * ((y - 0.5f * h) * k);
}

FN V shade_dir(const Scene &s, V dir, Rng &rng, int depth) {
    V o = v3(s.cam[0], s.cam[1], s.cam[2]);
    if (s.aperture > 0) {
        V r = v3(s.cam[3], s.cam[4], s.cam[5]), u = v3(s.cam[6], s.cam[7], s.cam[8]);
        float a = s.aperture * sqrtf(rnd(rng)), ph = 6.2831853f * rnd(rng);
        V off = r * (a * cosf(ph)) + u * (a * sinf(ph)), target = o + dir * s.focus;
        o = o + off; dir = target - o;
    }
    V c = trace(s, o, unit(dir), rng, depth);
    float m = fmaxf(c.x, fmaxf(c.y, c.z)) * s.exposure;
    if (m > 3) c = c * (3 / m);   // a noisy highlight would speckle the picture
    return c * s.exposure;
}

// Truth of one direction: class 0 other, 1 gear but no flank, 2 convex flank, 3 concave flank; bit 7: in patch, bit 6: compound shows, bits 4-5 zero.
FN void label_dir(const Scene &s, V dir, uint8_t *cls, float *u, float *v, int *tooth) {
    V o = v3(s.cam[0], s.cam[1], s.cam[2]); V d = unit(dir);
    float t; Dist hit;
    *cls = 0; *u = 0; *v = 0; *tooth = 0;
    if (!march(s, o, d, 900, t, hit) || hit.m != M_GEAR) return;
    FlankAt f = flank_at(s, o + d * t);
    *cls = 1; *u = f.u; *v = f.v; *tooth = f.tooth;
    bool on = f.u >= 0 && f.u <= 1 && f.v >= 0 && f.v <= 1 && fmaxf(f.dconv, f.dconc) > -0.25f;
    if (!on) return;
    bool in; float film = film_at(s, f, true, in);
    *cls = (uint8_t)((f.side ? 3 : 2) | (in ? 128 : 0) | (1 - expf(-film * s.opacity) > 0.5f ? 64 : 0));
}
