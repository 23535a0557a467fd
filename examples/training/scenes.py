"""Draws random scenes for the renderer: gear, place, lamps, compound, patch, camera. All invented; ranges are wide on purpose.

Gear proportions follow ISO 23509 (spiral angle along the face width of face-milled and face-hobbed gears, Annex F usage); the ranges
are common practice, no source.
"""
from types import SimpleNamespace
import numpy as np

# name, number of floats: the order of struct Scene in gear.h
FIELDS = [(n, 1) for n in "teeth sG cG Ri Re Rm am ta bm tb p0 p1 p2 p3 p4 share0 share1 tan_convex tan_concave bulge ke edge_flat edge_land edge_power ktoe kheel end_flat toe_tilt heel_tilt bevel bevel_slope ridge ridge_width slot_step kf zback rbore rout step phase mirror has_gear".split()] + [
    ("hub", 16), ("house_r", 1), ("house_nx", 1), ("house_ny", 1), ("house_c", 1), ("wall_z", 1), ("plane", 8), ("plane_kind", 2), ("plane_col", 12),
    ("caps", 80), ("block", 32), ("cover", 7), ("bolts", 6), ("cog", 12), ("cam", 12), ("tanfov", 1), ("aperture", 1), ("focus", 1), ("flash", 3), ("flash_col", 3), ("up", 3), ("sky", 3),
    ("ground", 3), ("blob", 42), ("steel", 3), ("steel_f0", 3), ("steel_rough", 1), ("mottle", 1), ("mottle_scale", 1), ("rust", 1), ("grain", 1), ("other", 3),
    ("other_rough", 1), ("other_f0", 1), ("other_bump", 1), ("paint", 3), ("paint_rough", 1), ("opacity", 1), ("streak", 1), ("bare", 1), ("top_share", 1),
    ("root_share", 1), ("ragged", 1), ("first_tooth", 1), ("painted_teeth", 1), ("other_flank_painted", 1), ("polarity", 1), ("streak_u", 1), ("streak_v", 1), ("streak_lean", 1), ("fleck", 1), ("blotch", 1), ("uneven", 1), ("reach", 1), ("over", 1), ("under", 1), ("end_run", 1), ("patch", 16),
    ("scatter_u", 1), ("scatter_v", 1), ("rim", 1), ("slide", 1), ("has_patch", 1), ("stain", 1), ("bend", 2), ("island", 8), ("ghost", 8), ("ghost_left", 1), ("gaps", 1), ("exposure", 1), ("seed", 1)]
SIZE = sum(n for _, n in FIELDS)


def pack(d):
    out = np.zeros(SIZE, np.float32)
    i = 0
    for name, n in FIELDS:
        out[i:i + n] = np.asarray(d[name], np.float32).ravel()
        i += n
    return out


def unit(a):
    return np.asarray(a, float) / np.linalg.norm(a)


def spiral_tangent(R, Rm, beta, rc, hobbed, nu, z2, sG, z0):
    """tan of the spiral angle at cone distance R: ISO 23509, face-milled and face-hobbed formulae of the spiral angle along the face."""
    if not hobbed:
        sb = (2 * Rm * rc * np.sin(beta) - Rm ** 2 + R ** 2) / (2 * R * rc)
        return sb / np.sqrt(np.maximum(1 - sb ** 2, 1e-3))
    rho_p0 = np.sqrt(Rm ** 2 + rc ** 2 - 2 * Rm * rc * np.sin(beta - nu))
    rho_b = rho_p0 / (1 + z0 / z2 * sG)
    phi = np.arccos(np.clip((R ** 2 + rho_p0 ** 2 - rc ** 2) / (2 * R * rho_p0), -1, 1))
    return (R - rho_b * np.cos(phi)) / (rho_b * np.sin(phi))


def tooth_trace(Ri, Re, Rm, beta, rc, hobbed, nu, z2, sG, z0):
    """tan of the spiral angle along the face, and the polynomial in R - Rm of the trace's angle about the gear's axis."""
    R = np.linspace(Ri - 1, Re + 1, 60)
    tb = spiral_tangent(R, Rm, beta, rc, hobbed, nu, z2, sG, z0)
    th = np.concatenate([[0], np.cumsum((tb[1:] + tb[:-1]) / 2 * np.diff(R) / ((R[1:] + R[:-1]) / 2 * sG))])
    th -= np.interp(Rm, R, th)
    return tb, np.polynomial.polynomial.polyfit(R - Rm, np.where(np.isfinite(th), th, 0), 4)


def no_more():
    """What the pictures of real gears and places have more (workshop.py), as it is in those without; of each scene its own, for some of it is filled in."""
    return dict(end_flat=0, toe_tilt=0, heel_tilt=0, bevel=0, bevel_slope=1, ridge=0, ridge_width=1, slot_step=0, grain=0, other_bump=0.12, end_run=0.03,
                block=np.zeros((2, 16)), cover=np.zeros(7), bolts=np.zeros(6), bend=np.zeros(2), island=np.zeros(8), ghost=np.zeros(8), ghost_left=0, gaps=0)


def gear(r):
    d = {}
    for _ in range(100):
        z2, od, Gamma = r.integers(32, 50), r.uniform(150, 290), np.radians(r.uniform(67, 81))
        sG, cG = np.sin(Gamma), np.cos(Gamma)
        Re = od / 2 / sG
        b = od * r.uniform(0.125, 0.19)
        Rm, Ri = Re - b / 2, Re - b
        hobbed, beta = r.random() < 0.45, np.radians(r.uniform(24, 40))
        rc = Rm * r.uniform(0.65, 1.25)
        met = od / z2
        mmn = met * Rm / Re * np.cos(beta)
        z0 = r.choice([7, 11, 13, 17])
        nu = np.arcsin(min(0.6, z0 * mmn / (2 * rc)))
        tb, p = tooth_trace(Ri, Re, Rm, beta, rc, hobbed, nu, z2, sG, z0)
        if np.all(np.isfinite(tb)) and tb.max() < 2.2 and tb.min() > -0.1 and np.ptp(tb) > 0.05:
            break
    depth = met * r.uniform(1.55, 2.1)
    clear = depth * r.uniform(0.07, 0.14)
    am = (depth - clear) * r.uniform(0.12, 0.4)
    taper = 0 if hobbed else np.radians(r.uniform(1.5, 6.5))
    share_a = r.uniform(0.1, 0.4)
    d.update(teeth=z2, sG=sG, cG=cG, Ri=Ri, Re=Re, Rm=Rm, am=am, ta=np.tan(taper * share_a), bm=depth - am, tb=np.tan(taper * (1 - share_a)),
             p0=p[0], p1=p[1], p2=p[2], p3=p[3], p4=p[4])
    alpha, skew = np.radians(r.uniform(17, 24)), np.radians(r.uniform(-4, 4))
    tv, tc = np.tan(alpha + skew), np.tan(alpha - skew)
    pn = np.pi * mmn
    # Land left at the tip; slots are left at least as wide at the root as a narrow cutter's point.
    for top in r.uniform(0.14, 0.75, 20) * met:
        share = (top + am * (tv + tc)) / pn
        if (top + depth * (tv + tc)) / pn < 0.86:
            break
    d.update(share0=share, share1=0 if hobbed else r.uniform(-0.02, 0.06), tan_convex=tv, tan_concave=tc, ke=r.uniform(0.2, 0.7), ktoe=r.uniform(0.2, 0.9), kf=r.uniform(0.3, 1.25))
    d["kheel"] = d["ktoe"]
    back = Re * cG - (-d["bm"]) * sG
    d.update(zback=back + r.uniform(3, 20), rbore=Ri * sG * r.uniform(0.62, 0.93), rout=Re * sG + r.uniform(-1.0, 2.0), step=r.uniform(0, 4),
             phase=r.uniform(0, 2 * np.pi), mirror=r.choice([-1, 1]), has_gear=1)
    d["_b"], d["_od"], d["_Gamma"], d["_hobbed"], d["_met"], d["_top"] = b, od, Gamma, hobbed, met, top
    return d


YELLOWS = [(0.75, 0.52, 0.03), (0.8, 0.6, 0.08), (0.62, 0.40, 0.02), (0.85, 0.68, 0.15)]


def compound(r):
    k = r.choice(7, p=[0.42, 0.1, 0.1, 0.12, 0.12, 0.08, 0.06])
    c = [YELLOWS[r.integers(4)], (0.72, 0.7, 0.66), (0.8, 0.28, 0.03), (0.55, 0.04, 0.03), (0.03, 0.09, 0.35), (0.05, 0.30, 0.09), tuple(r.uniform(0.05, 0.8, 3))][k]
    c = np.array(c) * r.uniform(0.75, 1.15) + r.normal(0, 0.02, 3)
    return np.clip(c, 0.01, 0.92)


def steel(r, d):
    kind = r.choice(5)
    grey = lambda lo, hi, tint: np.clip(r.uniform(lo, hi) * (1 + np.array([1, 0, -1]) * r.normal(0, tint)), 0.003, 0.9)
    if kind == 0:    # dark phosphate
        d.update(steel=grey(0.01, 0.06, 0.1), steel_f0=grey(0.02, 0.10, 0.08), steel_rough=r.uniform(0.45, 0.8))
    elif kind == 1:  # lapped
        d.update(steel=grey(0.03, 0.12, 0.1), steel_f0=grey(0.15, 0.35, 0.06), steel_rough=r.uniform(0.3, 0.6))
    elif kind == 2:  # ground, bright
        d.update(steel=grey(0.05, 0.2, 0.06), steel_f0=grey(0.35, 0.6, 0.05), steel_rough=r.uniform(0.22, 0.5))
    elif kind == 3:  # dark and oiled
        d.update(steel=grey(0.015, 0.06, 0.2), steel_f0=grey(0.05, 0.15, 0.1), steel_rough=r.uniform(0.12, 0.35))
    else:            # grey, dull
        d.update(steel=grey(0.08, 0.3, 0.1), steel_f0=grey(0.04, 0.2, 0.08), steel_rough=r.uniform(0.4, 0.8))
    d.update(mottle=r.uniform(0, 0.9), mottle_scale=np.exp(r.uniform(np.log(0.05), np.log(0.8))), rust=r.choice([0, 0, 0, 0.7]) * r.random())
    d.update(other=grey(0.01, 0.35, 0.12), other_rough=r.uniform(0.25, 0.8), other_f0=r.uniform(0.03, 0.4))


def run_on(r, d):
    """Profiles that are curved, edges that do not show where the flank ends, and coats that do not end there."""
    # some breaks reach farther down the flank than into the land, and some are hardly rounder than an edge where they begin
    d["edge_land"] = 1.0 if r.random() < 0.5 else r.uniform(0.3, 1)
    d["edge_power"] = 2.0 if r.random() < 0.4 else r.uniform(2, 6)
    # the profile of generated gears is curved (h / 8 rho of the equivalent cylindrical gear), that of others straight
    d["bulge"] = 0.0 if r.random() < 0.25 else r.uniform(0, 0.02)
    d["over"], d["under"] = [0.0 if r.random() < 0.15 else r.uniform(0, 0.3) for _ in range(2)]
    if r.random() < 0.5:
        d["reach"] = 1.0        # the brush went right over the teeth


def scene(seed, kind=None, make_gear=gear, plain=False, more=None):
    """kind: None = usual mix, 'clean' = no compound, 'unrolled' = compound without a patch, 'empty' = no gear. plain: straight profiles, round or flat
    edges, coats that change where the flank ends, as in the first sets of photos and the trainings until then. more: a function of a generator, the scene
    and its camera's surroundings that puts into it what else there is (workshop.py)."""
    r = np.random.default_rng(seed)
    d = no_more() | make_gear(r)
    kind = kind or r.choice(["painted", "clean", "unrolled", "empty"], p=[0.86, 0.05, 0.05, 0.04])
    d["seed"] = seed % 100003
    steel(r, d)
    Ri, Re, sG, cG, Gamma, od = d["Ri"], d["Re"], d["sG"], d["cG"], d["_Gamma"], d["_od"]
    if kind == "empty":
        d["has_gear"] = 0
    # hub and carrier
    hub = np.zeros((4, 4))
    housing = r.random() < 0.45
    if housing or r.random() < 0.5:
        ra = d["rbore"] * r.uniform(0.75, 1.02)
        zf = Ri * cG * r.uniform(0.2, 1.0)
        hub[0] = [d["rbore"] * 0.5 if r.random() < 0.3 else 0, ra, zf - r.uniform(0, 12), d["zback"] + 10]
        hub[1] = [0, ra * r.uniform(0.4, 0.85), zf - r.uniform(10, 70), zf]
        if r.random() < 0.5:
            hub[2] = [hub[1, 1] * r.uniform(0.3, 0.8), hub[1, 1] * r.uniform(1.1, 1.6), hub[1, 2] - r.uniform(8, 25), hub[1, 2]]
        if r.random() < 0.3:
            hub[3] = [od / 2 * 1.02, od / 2 * r.uniform(1.05, 1.2), d["zback"] - r.uniform(0, 8), d["zback"] + 15]
    d["hub"] = hub
    d.update(house_r=0, house_nx=1, house_ny=0, house_c=1e6, wall_z=-1e6)
    plane, kinds, cols = np.array([[0, 0, 1, 2e5], [0, 0, 1, 2e5]], float), r.integers(0, 5, 2), r.uniform(0.02, 0.8, (2, 6))
    for i in range(2):  # mostly dull colours near each other
        base = np.clip(r.uniform(0.03, 0.7) * (1 + r.normal(0, 0.25, 3)), 0.02, 0.85) if r.random() < 0.75 else r.uniform(0.02, 0.8, 3)
        cols[i] = np.concatenate([base, np.clip(base * r.uniform(0.35, 1.3), 0.01, 0.9)])
    th0 = r.uniform(0, 2 * np.pi)
    y0 = np.sin(th0)
    er, et = np.array([np.cos(th0), y0, 0]), np.array([-y0, np.cos(th0), 0])
    front = np.array([0, 0, -1.0])
    target = er * (d["Rm"] * sG) + np.array([0, 0, d["Rm"] * cG])
    for _ in range(50):
        look = front + er * r.normal(0.35, 0.7) + et * r.normal(0, 0.75) if not housing else front * r.uniform(0.25, 1) + er * r.normal(0.3, 0.6) + et * r.normal(0, 0.7)
        look = unit(look)
        if look @ front > 0.12:
            break
    f35 = r.choice([24, 26, 28, 35, 50, 70], p=[0.15, 0.3, 0.2, 0.1, 0.15, 0.1]) * r.uniform(0.95, 1.05)
    tanfov = 18 / f35
    width = od * np.exp(r.uniform(*np.log(d.get("_widths", (0.22, 1.15)))))
    dist = max(width / 2 / tanfov, 45)
    # housing: shell around the gear, open towards the camera
    up = -np.array([0, 0, 1.0])
    if housing:
        up = unit(er * r.normal() + et * r.normal() + front * r.normal(0, 0.2))
        if r.random() < 0.8:
            n = unit(np.array([look[0], look[1], 0]) + r.normal(0, 0.3, 3) * [1, 1, 0])
            d.update(house_r=od / 2 * r.uniform(1.08, 1.7), house_nx=n[0], house_ny=n[1], house_c=od / 2 * r.uniform(-0.3, 1.0))
            pz = target + look * dist
            d["wall_z"] = min(-r.uniform(30, 200), pz[2] - 15) if r.random() < 0.5 else -1e6
            if np.hypot(pz[0], pz[1]) > d["house_r"] - 8 and pz @ n < d["house_c"] + 8:   # the lens would be inside the wall
                d["house_r"] = 0
        plane[0] = [*(-look * -1), 0]
        plane[0, 3] = -(target @ look) + r.uniform(70, 500)
    else:
        tilt = unit(front + r.normal(0, 0.02, 3))
        plane[0] = [*tilt, d["zback"] + r.uniform(0, 1)]
        if r.random() < 0.15:   # gear lies on something else, high above
            plane[0, 3] += r.uniform(20, 150)
        if r.random() < 0.4:
            w = unit(-(look - front * (look @ front)) * -1 + r.normal(0, 0.2, 3) * [1, 1, 0] + 1e-3)
            plane[1] = [*w, r.uniform(od * 0.7, od * 2.5)]
    d.update(plane=plane, plane_kind=kinds, plane_col=cols)
    pos = target + look * dist
    # aim so that the target is off the middle
    fwd = -look
    right = unit(np.cross(fwd, unit(r.normal(size=3))))
    upv = np.cross(right, fwd)
    off = r.uniform(-0.55, 0.55, 2) * tanfov * dist * np.array([1, 0.7])
    if r.random() < 0.3:
        off *= 0.3
    fwd = unit(target + right * off[0] + upv * off[1] - pos)
    right = unit(np.cross(fwd, upv)); upv = np.cross(right, fwd)
    d["cam"] = np.concatenate([pos, right, upv, fwd])
    d.update(tanfov=tanfov, aperture=dist * tanfov * (r.uniform(0, 0.012) if r.random() < 0.85 else r.uniform(0.012, 0.05)), focus=dist * r.uniform(0.88, 1.12))
    caps = np.zeros((8, 10))
    for i in range(r.integers(0, 4)):
        n, c = plane[0, :3], target + er * od * r.uniform(0.25, 1.2) + et * od * r.normal(0, 0.6)
        c = c - n * (c @ n + plane[0, 3]) * r.uniform(0.6, 1.0)
        a = unit(np.cross(n, r.normal(size=3))) * r.uniform(10, 140)
        rad = r.uniform(3, 22)
        col = np.clip(r.uniform(0.02, 0.9, 3) ** 1.5, 0.01, 0.9)
        q = c + n * rad
        if np.linalg.norm(q - pos) > 60 + np.linalg.norm(a) and np.hypot(q[0], q[1]) > od / 2 + rad + 5:
            caps[i] = [*(q - a), *(q + a), rad, *col]
    d["caps"] = caps
    cog = np.zeros(12)
    if r.random() < 0.25:
        zc, rad, th = Ri * cG - r.uniform(5, 40), od * r.uniform(0.08, 0.2), th0 + r.uniform(0.5, 2 * np.pi - 0.5)
        ax = unit(np.array([np.cos(th), np.sin(th), r.normal(0, 0.2)]))
        c = ax * (od * r.uniform(0.3, 0.55)) + np.array([0, 0, zc - rad])
        cog[:11] = [*c, *ax, rad, rad * r.uniform(0.4, 1), r.integers(8, 20), r.normal(0, 0.25), rad * r.uniform(0.15, 0.35)]
        if np.linalg.norm(c - pos) < rad * 2.5 + 25:
            cog[6] = 0
    d["cog"] = cog
    # light
    warm = lambda s: np.clip(1 + np.array([1, 0.1, -1]) * r.normal(0.05, s), 0.4, 1.6)
    flash = r.random() < 0.5
    d.update(flash=pos + right * r.normal(0, 8) + upv * r.normal(0, 8), flash_col=warm(0.08) * (np.pi * dist ** 2 * r.uniform(0.3, 2.0) if flash else 0))
    amb = np.exp(r.uniform(np.log(0.03), np.log(0.7)))
    sky = warm(0.15) * amb
    d.update(up=up, sky=sky, ground=sky * r.uniform(0.1, 0.9) * warm(0.1))
    blob = np.zeros((6, 7)); blob[:, 3] = 2
    for i in range(r.integers(0 if flash else 1, 6)):
        dirn = unit(up * r.uniform(0.0, 1.2) + unit(r.normal(size=3)))
        cosine = np.cos(np.exp(r.uniform(np.log(0.04), np.log(0.6))))
        e = np.exp(r.uniform(np.log(0.1), np.log(1.3)))
        blob[i] = [*dirn, cosine, *(warm(0.15) * e / (2 * (1 - cosine)))]
    d["blob"] = blob
    # compound and patch
    paint = compound(r)
    few = r.random() < 0.5
    mid = int(round(((th0 * d["mirror"] - d["phase"]) / (2 * np.pi) * d["teeth"]))) % int(d["teeth"])
    n = r.integers(3, 12) if few else int(d["teeth"])
    d.update(paint=paint, paint_rough=r.uniform(0.2, 0.75), opacity=np.exp(r.uniform(np.log(1.5), np.log(6))), streak=r.uniform(0.1, 1.0),
             bare=r.choice([0.0, 0.2, 0.3, 0.36, 0.42]) * r.uniform(0.8, 1.05), top_share=r.choice([0.1, 0.5, 1.0]), root_share=r.choice([0.2, 0.7, 1.0]), ragged=r.uniform(0, 1.3),
             first_tooth=(mid - n // 2) % int(d["teeth"]), painted_teeth=0 if kind == "clean" else n, other_flank_painted=float(r.random() < 0.85),
             polarity=float(r.random() < 0.12), streak_u=np.exp(r.uniform(np.log(1.5), np.log(7))), streak_v=np.exp(r.uniform(np.log(7), np.log(40))),
             streak_lean=r.normal(0, 0.15),
             fleck=r.choice([0.0, 0.24, 0.32, 0.38]), reach=r.uniform(0.03, 0.25))
    patch = np.zeros((2, 8))
    for s in range(2):
        cu, cv = np.clip(r.normal(0.5, 0.19), 0.08, 0.92), np.clip(r.normal(0.5, 0.2), 0.1, 0.9)
        patch[s] = [cu, cv, r.uniform(0.14, 0.36), r.uniform(0.16, 0.42), r.normal(0, 0.25), r.uniform(1.6, 3.5), r.uniform(0.05, 0.8), r.choice([0.0, 0.02, 0.05, 0.1, 0.2, 0.4]) * r.uniform(0.5, 1.2)]
    d.update(patch=patch, scatter_u=r.uniform(0, 0.05), scatter_v=r.uniform(0, 0.035), rim=r.uniform(0, 1.5), slide=r.uniform(0, 1.2),
             has_patch=float(kind == "painted"), stain=r.uniform(0, 1.5), exposure=1)
    # the coat is off in places as large as a patch, and the teeth are not wiped alike
    d.update(blotch=r.choice([0.0, 0.0, 0.3, 0.36, 0.41]) * r.uniform(0.9, 1.05), uneven=r.choice([0.0, 0.5, 1.0]) * r.random())
    # some tip edges are broken wide, as far as the land allows, round or flat
    if r.random() < 0.5:
        d["ke"] = min(r.uniform(0.04, 0.17) * (d["am"] + d["bm"]), 0.42 * d.get("_top", 1))
    d["edge_flat"] = float(r.random() < 0.5)
    d.update(bulge=0, edge_land=1, edge_power=2, over=0, under=0)
    if not plain:
        run_on(r, d)
    d["_kind"], d["_mid"], d["_share"] = kind, mid, d["_b"] / (2 * tanfov * dist)
    if more:
        more(np.random.default_rng([seed, 31]), d, SimpleNamespace(look=look, target=target, er=er, et=et, dist=dist, right=right, up=upv, housing=housing))
    return d
