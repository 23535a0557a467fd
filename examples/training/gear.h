// What a picture depends on, and the ring gear of it: flank coordinates and the distance to its surface.
#pragma once
#include "vector.h"

// Everything a picture depends on. The order is that of SCENE_FIELDS in scenes.py.
struct Scene {
    // gear
    float teeth, sG, cG, Ri, Re, Rm, am, ta, bm, tb, p0, p1, p2, p3, p4, share0, share1, tan_convex, tan_concave, bulge, ke, edge_flat, edge_land, edge_power, ktoe, kheel, end_flat, toe_tilt, heel_tilt, bevel, bevel_slope, ridge, ridge_width, slot_step, kf, zback, rbore, rout, step, phase, mirror, has_gear;
    // hub: four coaxial rings r0 r1 z0 z1
    float hub[16];
    // housing: inner radius (0 = none), opening direction x y and offset, back wall z
    float house_r, house_nx, house_ny, house_c, wall_z;
    // planes: normal and offset, twice (offset > 1e5 = none); kind of texture; two colours each
    float plane[8], plane_kind[2], plane_col[12];
    // capsules: ax ay az bx by bz radius r g b, eight of them (radius 0 = none)
    float caps[80];
    // blocks: middle, two axes, half sizes, rounding, colour, two of them (rounding 0 = none)
    float block[32];
    // ring in front of the teeth (a housing's rim, a case's flange): r0 r1 z0 z1 (r1 0 = none), cut off by a plane along the axis: direction x y, offset
    float cover[7];
    // bolt heads about the axis: how many (0 = none), circle's radius, z of their feet, half of the hexagon's width, height, turn
    float bolts[6];
    // ridged cone (another gear): position, axis, radius, half length, ridges, twist, amplitude
    float cog[12];
    // camera: position, right, up, forward, tan of half the larger field of view, aperture radius, focus distance
    float cam[12], tanfov, aperture, focus;
    // light: flash position and power, sky colours above/below with up vector, six blobs of direction, cos of size, colour
    float flash[3], flash_col[3], up[3], sky[3], ground[3], blob[42];
    // steel: colour, specular share, roughness, mottling, rust; other steel (hub, housing): colour, roughness
    float steel[3], steel_f0[3], steel_rough, mottle, mottle_scale, rust, grain, other[3], other_rough, other_f0, other_bump;
    // compound: colour, roughness, opacity, streakiness, bare share, top land share, root share, end raggedness
    float paint[3], paint_rough, opacity, streak, bare, top_share, root_share, ragged, first_tooth, painted_teeth, other_flank_painted, polarity;
    // brush streaks: cycles along and across the flank, and their slope; bare flecks and large bare places: thresholds; how unlike the teeth are wiped; how far
    // past the tip edge the brush reached, and how far past tip and root the coat is the flank's own, and past toe and heel
    float streak_u, streak_v, streak_lean, fleck, blotch, uneven, reach, over, under, end_run;
    // patch for convex and concave: centre u v, half sizes, lean, power, edge noise, residue; scatter u v, rim, streaks of sliding; has_patch
    float patch[16], scatter_u, scatter_v, rim, slide, has_patch, stain;
    // more of the patch for convex and concave: bend along the flank; a second island and what an earlier assembly left: middle off the first's, half sizes (0 = none);
    // then how much of the film is missing there; how broken the contact is, 0 = whole
    float bend[2], island[8], ghost[8], ghost_left, gaps;
    float exposure, seed;
};

struct FlankAt { float R, h, u, v, x, along; int tooth, side; float dconv, dconc; };

FN float theta_c(const Scene &s, float R) { float t = R - s.Rm; return s.p0 + t * (s.p1 + t * (s.p2 + t * (s.p3 + t * s.p4))); }
FN float theta_slope(const Scene &s, float R) { float t = R - s.Rm; return s.p1 + t * (2 * s.p2 + t * (3 * s.p3 + t * 4 * s.p4)); }

// How far a curved profile stands out from the straight one between root and tip.
FN float bulged(const Scene &s, float h, float a, float b) { float q = clampf((h + b) / (a + b), -0.3f, 1.3f); return s.bulge * 4 * q * (1 - q) * (a + b); }

// Cone distances of the two ends of the teeth: cones of their own, straight across the face or tilted.
FN float toe_at(const Scene &s, float h) { return s.Ri + s.toe_tilt * (h - 0.5f * (s.am - s.bm)); }
FN float heel_at(const Scene &s, float h) { return s.Re + s.heel_tilt * (h - 0.5f * (s.am - s.bm)); }

FN FlankAt flank_at(const Scene &s, V p) {
    FlankAt f;
    float y = p.y * s.mirror, r = sqrtf(p.x * p.x + y * y);
    f.R = r * s.sG + p.z * s.cG;
    f.h = r * s.cG - p.z * s.sG;
    float Rc = clampf(f.R, s.Ri - 3, s.Re + 3);
    float pitch = 6.2831853f / s.teeth, th = atan2f(y, p.x) - theta_c(s, Rc) - s.phase;
    float k = rintf(th / pitch);
    float tb = theta_slope(s, Rc) * Rc * s.sG, cb = 1.0f / sqrtf(1 + tb * tb);
    f.x = (th - k * pitch) * Rc * s.sG * cb;
    int n = (int)s.teeth, kk = (int)k;
    f.tooth = ((kk % n) + n) % n;
    float wn = (s.share0 + s.share1 * (Rc - s.Rm) / (s.Re - s.Ri)) * 3.14159265f / s.teeth * Rc * s.sG * cb;
    float a = s.am + (Rc - s.Rm) * s.ta, b = s.bm + (Rc - s.Rm) * s.tb, half = wn + bulged(s, f.h, a, b);
    f.dconc = (f.x - half + f.h * s.tan_concave) / sqrtf(1 + s.tan_concave * s.tan_concave);
    f.dconv = (-f.x - half + f.h * s.tan_convex) / sqrtf(1 + s.tan_convex * s.tan_convex);
    float toe = toe_at(s, f.h) + s.ktoe;
    f.u = (f.R - toe) / (heel_at(s, f.h) - s.kheel - toe);
    f.v = (f.h + b - s.kf) / (a + b - s.kf - s.ke);
    f.side = f.dconv > f.dconc ? 0 : 1;
    return f;
}

// Point of a flank, the inverse of flank_at on it. side 0 = convex, 1 = concave.
FN V flank_point(const Scene &s, int tooth, int side, float u, float v) {
    float R = s.Rm, t = 0, a = 0, b = 0, h = 0.5f * (s.am - s.bm);
    for (int i = 0; i < 4; i++) {   // the ends hang on the height, and the height, on a taper, on the cone distance
        float toe = toe_at(s, h) + s.ktoe;
        R = toe + u * (heel_at(s, h) - s.kheel - toe); t = R - s.Rm;
        a = s.am + t * s.ta; b = s.bm + t * s.tb; h = v * (a + b - s.kf - s.ke) - b + s.kf;
    }
    float slope = theta_slope(s, R), cb = 1 / sqrtf(1 + slope * R * s.sG * slope * R * s.sG);
    float wn = (s.share0 + s.share1 * t / (s.Re - s.Ri)) * 3.14159265f / s.teeth * R * s.sG * cb;
    wn += bulged(s, h, a, b);
    float x = side ? wn - h * s.tan_concave : h * s.tan_convex - wn;
    float th = theta_c(s, R) + s.phase + tooth * 6.2831853f / s.teeth + x / (R * s.sG * cb), r = R * s.sG + h * s.cG;
    return v3(r * cosf(th), s.mirror * r * sinf(th), R * s.cG - h * s.sG);
}

FN float gear_sdf(const Scene &s, V p) {
    if (s.has_gear < 0.5f) return 1e6f;
    float r = sqrtf(p.x * p.x + p.y * p.y);
    float R = r * s.sG + p.z * s.cG, h = r * s.cG - p.z * s.sG;
    float Rc = clampf(R, s.Ri - 3, s.Re + 3);
    float a = s.am + (Rc - s.Rm) * s.ta, b = s.bm + (Rc - s.Rm) * s.tb;
    float toe = toe_at(s, h), heel = heel_at(s, h), floor = h + b;
    float ends = fmaxf((toe - R) / sqrtf(1 + s.toe_tilt * s.toe_tilt), (R - heel) / sqrtf(1 + s.heel_tilt * s.heel_tilt));
    float slab = fmaxf(ends, fmaxf(h - a, -h - b - 1.0f));
    bool near = slab <= 3.0f;
    FlankAt f;
    if (near) {
        f = flank_at(s, p);
        // between two cuts of a slot's bottom a ridge stands or a step is left, where the next tooth's half begins
        float half = 3.14159265f / s.teeth * Rc * s.sG / sqrtf(1 + theta_slope(s, Rc) * Rc * s.sG * theta_slope(s, Rc) * Rc * s.sG), off = half - fabsf(f.x);
        floor = floor - s.ridge * expf(-off * off / (s.ridge_width * s.ridge_width)) - (f.x > 0 ? s.slot_step * smooth(0, 0.4f, off) : 0.0f);
    }
    float root = floor + (R < toe ? fminf((toe - R) * 1.5f, s.step) : 0.0f);
    float body = fmaxf(fmaxf(root, p.z - s.zback), fmaxf(s.rbore - r, r - s.rout));
    if (!near) return fminf(body, slab);
    float flanks = smax(f.dconv, f.dconc, s.ke);
    // the tip edge's break, flat or round, begins ke below the tip and ends edge_land * ke into the land
    float q = s.edge_land, top = (h - a) * q;
    float tooth = s.edge_flat > 0.5f ? fmaxf(smax(flanks, h - a, 0.1f), (flanks + top + s.ke * q) / sqrtf(1 + q * q)) : smax_power(flanks, top, s.ke * q, s.edge_power);
    // toe and heel: chamfers, flat or round, that begin ktoe and kheel before the ends, and a bevel across the heel's tip
    float k = f.u < 0.5f ? s.ktoe : s.kheel;
    if (s.end_flat > 0.5f) tooth = fmaxf(smax(tooth, ends, 0.15f), (tooth + ends + k) * 0.7071f);
    else tooth = smax(tooth, ends, k);
    if (s.bevel > 0) tooth = smax(tooth, (R - heel + s.bevel_slope * (h - a) + s.bevel) / sqrtf(1 + s.bevel_slope * s.bevel_slope), 0.2f);
    tooth = fmaxf(tooth, -h - b - 1.0f);
    return smin(tooth, body, s.kf);
}
