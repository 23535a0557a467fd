"""What real gears and the places they are photographed in have more than scenes.py draws by itself: teeth with chamfered ends and bevelled heels, wide
slot bottoms with fillet and ridge, compound in slots and over lands and ends, bright and dark steels in sun and shade, castings, bolts, and rims, fingers,
rods and blocks in front of the teeth. What stands in front is no gear; what is seen of a flank keeps that flank's own coordinates.

All ranges are common practice, no source.
"""
import numpy as np

import scenes
from scenes import unit


def gear(r):
    """A gear as scenes.gear draws it, of wider ranges and with ends and slots of its own."""
    d = {}
    for _ in range(200):
        z2, od, Gamma = int(r.integers(26, 57)), r.uniform(140, 300), np.radians(r.uniform(62, 82))
        sG, cG = np.sin(Gamma), np.cos(Gamma)
        Re, b = od / 2 / sG, od * r.uniform(0.12, 0.2)
        Rm, Ri = Re - b / 2, Re - b
        hobbed, beta = r.random() < 0.45, np.radians(r.uniform(20, 38) if r.random() < 0.6 else r.uniform(36, 47))
        rc, met = Rm * r.uniform(0.6, 1.3), od / z2
        mmn = met * Rm / Re * np.cos(beta)
        z0 = r.choice([7, 11, 13, 17])
        nu = np.arcsin(min(0.6, z0 * mmn / (2 * rc)))
        tb, p = scenes.tooth_trace(Ri, Re, Rm, beta, rc, hobbed, nu, z2, sG, z0)
        depth = met * r.uniform(1.45, 2.15)
        clear = depth * r.uniform(0.07, 0.16)
        am = (depth - clear) * r.uniform(0.1, 0.42)
        alpha, skew = np.radians(r.uniform(16, 25)), np.radians(r.uniform(-4, 4))
        tv, tc = np.tan(alpha + skew), np.tan(alpha - skew)
        pn = np.pi * mmn
        top = r.uniform(0.55, 0.87) * pn - depth * (tv + tc)     # the slot's bottom has what is left of the pitch
        if np.all(np.isfinite(tb)) and tb.max() < 2.4 and tb.min() > -0.1 and np.ptp(tb) > 0.05 and 0.1 < top / met < 0.8:
            break
    else:
        return scenes.gear(r)
    taper, share = 0 if hobbed else np.radians(r.uniform(1, 6.5)), r.uniform(0.1, 0.4)
    d.update(teeth=z2, sG=sG, cG=cG, Ri=Ri, Re=Re, Rm=Rm, am=am, ta=np.tan(taper * share), bm=depth - am, tb=np.tan(taper * (1 - share)),
             p0=p[0], p1=p[1], p2=p[2], p3=p[3], p4=p[4], share0=(top + am * (tv + tc)) / pn, share1=0 if hobbed else r.uniform(-0.02, 0.06),
             tan_convex=tv, tan_concave=tc, ke=r.uniform(0.2, 0.7), kf=depth * r.uniform(0.03, 0.14))
    ends(r, d, b, depth)
    slot = (0.9 - 0.55) * pn
    if r.random() < 0.6:
        d.update(ridge=depth * r.uniform(0.01, 0.07), ridge_width=slot * r.uniform(0.1, 0.5), slot_step=depth * r.choice([0, 0, 1, -1]) * r.uniform(0, 0.05))
    d.update(zback=Re * cG + d["bm"] * sG + r.uniform(3, 30), rbore=Ri * sG * r.uniform(0.55, 0.95), rout=Re * sG + r.uniform(-1.5, 3.0), step=r.choice([0, 0, 1]) * r.uniform(0, 5),
             phase=r.uniform(0, 2 * np.pi), mirror=r.choice([-1, 1]), has_gear=1)
    d["_b"], d["_od"], d["_Gamma"], d["_hobbed"], d["_met"], d["_top"], d["_widths"] = b, od, Gamma, hobbed, met, top, (0.16, 0.9) if r.random() < 0.7 else (0.7, 2.8)
    return d


def ends(r, d, b, depth):
    """Toe and heel: hardly broken, or with a chamfer of some millimetres; cut along the cone, or tilted; the heel's tip bevelled on some."""
    chamfer = lambda: b * (r.uniform(0.004, 0.02) if r.random() < 0.45 else r.uniform(0.02, 0.075))
    d.update(ktoe=chamfer(), kheel=chamfer(), end_flat=float(r.random() < 0.65))
    for end in ("toe_tilt", "heel_tilt"):
        d[end] = np.tan(np.radians(np.clip(r.normal(0, 9), -20, 20))) if r.random() < 0.5 else 0
    if r.random() < 0.5:
        d.update(bevel=depth * r.uniform(0.1, 0.75), bevel_slope=np.exp(r.uniform(np.log(0.4), np.log(2.5))))


def add(r, d, view):
    """Puts the rest into a scene that scenes.scene has drawn."""
    steel(r, d)
    coat(r, d)
    place(r, d, view)
    if d["_kind"] == "empty":
        other_gear(r, d, view)
    elif r.random() < 0.5:
        in_front(r, d, view)
    if r.random() < 0.35:
        bolts(r, d)


def steel(r, d):
    grey = lambda lo, hi, tint: np.clip(r.uniform(lo, hi) * (1 + np.array([1, 0, -1]) * r.normal(0, tint)), 0.003, 0.9)
    kind = r.choice(["as drawn", "phosphate", "ground", "lapped", "rusty", "oiled"], p=[0.3, 0.25, 0.15, 0.1, 0.1, 0.1])
    if kind == "phosphate":
        d.update(steel=grey(0.006, 0.03, 0.1), steel_f0=grey(0.015, 0.07, 0.08), steel_rough=r.uniform(0.3, 0.75), mottle=r.uniform(0, 0.5), rust=0)
    elif kind == "ground":
        d.update(steel=grey(0.04, 0.15, 0.06), steel_f0=grey(0.3, 0.65, 0.05), steel_rough=r.uniform(0.15, 0.4), mottle=r.uniform(0, 0.4), grain=r.uniform(0.4, 1.5))
    elif kind == "lapped":
        d.update(steel=grey(0.05, 0.2, 0.06), steel_f0=grey(0.1, 0.3, 0.05), steel_rough=r.uniform(0.35, 0.6), mottle=r.uniform(0, 0.4), grain=r.uniform(0, 0.5))
    elif kind == "rusty":
        d.update(rust=r.uniform(0.3, 1), mottle=r.uniform(0.4, 1))
    elif kind == "oiled":
        d.update(steel=grey(0.02, 0.12, 0.15), steel_f0=grey(0.05, 0.3, 0.1), steel_rough=r.uniform(0.08, 0.25), mottle=r.uniform(0, 0.6))
    if kind == "as drawn":
        d["grain"] = r.choice([0, 1]) * r.uniform(0, 1)
    d["other_bump"] = r.choice([0.05, 0.12, 0.4]) * r.uniform(0.6, 1.5)
    if r.random() < 0.3:        # painted or bright castings
        d["other"] = np.clip(r.uniform(0.05, 0.7) * (1 + r.normal(0, 0.25, 3)), 0.01, 0.85)
        d["other_f0"] = r.uniform(0.03, 0.15)


def coat(r, d):
    """Compound that does not end where the flank does: down the fillet, over the slot's bottom, the land, the ends; some of it ends before."""
    if r.random() < 0.5:
        d["under"] = r.uniform(0.2, 1.2)
        d["root_share"] = r.choice([0.7, 1.0])
    if r.random() < 0.4:
        d.update(over=r.uniform(0.2, 1.0), reach=1.0, top_share=1.0)
    d["end_run"] = r.uniform(0.03, 0.16) if r.random() < 0.5 else r.uniform(-0.02, 0.05)
    if r.random() < 0.35:       # a few teeth in a row, as most people paint
        n = int(r.integers(2, 8))
        if d["painted_teeth"] > 0:
            d.update(first_tooth=(d["_mid"] - n // 2) % int(d["teeth"]), painted_teeth=n)


def place(r, d, view):
    """Backgrounds and light: white trays, concrete, print; sun with sharp shadows; the gear lying in something as far up as its teeth."""
    for i in range(2):
        if r.random() < 0.5:
            d["plane_kind"][i] = r.choice([0, 1, 5, 5, 6])
        if r.random() < 0.3:
            base = np.clip(r.uniform(0.55, 0.9) * (1 + r.normal(0, 0.04, 3)), 0.3, 0.92)
            d["plane_col"][i] = np.concatenate([base, base * r.uniform(0.7, 1.0)])
    if d["plane"][0][2] < -0.9 and r.random() < 0.3:
        d["plane"][0][3] -= r.uniform(0, max(1, d["zback"] - d["Re"] * d["cG"]))
    if r.random() < 0.25:
        c = np.cos(r.uniform(0.01, 0.03))
        light = np.array([1, 0.95, 0.85]) * np.exp(r.uniform(np.log(0.5), np.log(4))) / (2 * (1 - c))
        d["blob"][0] = [*unit(np.asarray(d["up"]) * r.uniform(0.3, 1.5) + unit(r.normal(size=3))), c, *light]


SKIN = [(0.55, 0.33, 0.24), (0.42, 0.24, 0.16), (0.18, 0.1, 0.07), (0.02, 0.02, 0.025), (0.05, 0.12, 0.35)]      # hands, and gloves of rubber


def in_front(r, d, view):
    """Something between the lens and the teeth."""
    tip = lambda u, gap: (d["Ri"] + u * d["_b"]) * d["cG"] - d["am"] * d["sG"] - gap
    kind = r.choice(["rim over heels", "flange over toes", "fingers", "rod", "block"], p=[0.2, 0.2, 0.25, 0.15, 0.2])
    cover = np.array([0, 0, 0, 0, 1, 0, 1e6])
    if kind == "rim over heels":
        u = r.uniform(0.45, 1.05)
        z1 = min(tip(u, r.uniform(0.5, 6)), tip(1, 0.5))
        cover[:4] = [(d["Ri"] + u * d["_b"]) * d["sG"], d["_od"] * r.uniform(0.55, 1.0), z1 - r.uniform(2, 25), z1]
    elif kind == "flange over toes":
        u = r.uniform(-0.05, 0.5)
        z1 = tip(u, r.uniform(0.5, 8)) - max(0, u * d["_b"] * d["cG"]) * 0
        z1 = min(z1, tip(0, 0.5))
        cover[:4] = [0, (d["Ri"] + u * d["_b"]) * d["sG"], z1 - r.uniform(2, 40), z1]
    if cover[1] > 0:
        if r.random() < 0.5:    # not all round
            turn = r.uniform(0, 2 * np.pi)
            cover[4:] = [np.cos(turn), np.sin(turn), d["_od"] * r.uniform(-0.3, 0.45)]
        if np.linalg.norm(view.target + view.look * view.dist) > d["_od"] or view.look[2] * view.dist < cover[2] - 60:
            d["cover"] = cover
        return
    lens = view.target + view.look * view.dist
    # a point over the teeth near the middle of the picture, as far up to the lens as such things are
    aim = view.target + view.et * d["_b"] * r.normal(0, 0.8) + view.er * d["_b"] * r.uniform(-0.6, 0.6)
    rise = r.uniform(0.03, 0.35) * view.dist
    size = min(1.0, rise / 25 + 0.35)
    at = aim + view.look * rise
    along = unit(np.cross(view.look, r.normal(size=3)) + view.look * r.normal(0, 0.35))
    across = unit(np.cross(along, view.look))
    if np.linalg.norm(at - lens) < 45:
        return
    if kind == "fingers":
        col, width = np.array(SKIN[r.integers(len(SKIN))]) * r.uniform(0.8, 1.3), r.uniform(6, 10) * size
        for i in range(r.integers(1, 4)):
            end = at + across * (2.05 * width * i) + along * r.uniform(-10, 10)
            bend = along + across * r.normal(0, 0.08) + view.look * r.uniform(0, 0.5)
            d["caps"][4 + i] = [*end, *(end + bend * r.uniform(60, 160)), width * r.uniform(0.9, 1.05), *np.clip(col, 0.01, 0.9)]
    elif kind == "rod":
        half = r.uniform(30, 200)
        shift = along * r.uniform(-half, half) * 0.9
        col = np.clip(np.full(3, r.uniform(0.03, 0.6)) * (1 + r.normal(0, 0.15, 3)), 0.01, 0.9)
        d["caps"][4] = [*(at + shift - along * half), *(at + shift + along * half), r.uniform(1.5, 8) * size, *col]
    else:
        halves = np.array([r.uniform(15, 90), r.uniform(5, 50), r.uniform(1, 8)]) * size
        grow = across * (halves[1] * r.choice([-1, 1]))        # its edge lies over the teeth
        col = np.clip(np.full(3, r.uniform(0.02, 0.6)) * (1 + r.normal(0, 0.12, 3)), 0.01, 0.9)
        d["block"][0] = [*(at + grow), *along, *across, *halves, r.uniform(0.4, 4), *col]


def patches(r, d):
    """Contact of every shape that misaligned gears have, into a scene that is drawn: narrow, leaning, bent, over an end or an edge, broken, in two islands; thin
    prints; what an earlier assembly left."""
    for s in range(2):
        q = d["patch"][s]
        shape = r.choice(["as drawn", "narrow", "leaning", "long", "edge", "small", "upright"], p=[0.22, 0.26, 0.14, 0.1, 0.12, 0.08, 0.08])
        lean = lambda lo, hi: r.choice([-1, 1]) * r.uniform(lo, hi)
        if shape == "narrow":
            q[1:5] = r.uniform(0.04, 0.96), r.uniform(0.14, 0.5), r.uniform(0.05, 0.16), r.normal(0, 0.12)
        elif shape == "leaning":
            q[2:5] = r.uniform(0.14, 0.4), r.uniform(0.09, 0.25), lean(0.4, 1.3)
        elif shape == "long":
            q[2:5] = r.uniform(0.36, 0.8), r.uniform(0.14, 0.6), r.normal(0, 0.15)
        elif shape == "edge":
            along = r.random() < 0.5
            q[0 if along else 1] = r.choice([r.uniform(-0.06, 0.14), r.uniform(0.86, 1.06)])
            q[3] = r.uniform(0.1, 0.4)
        elif shape == "small":
            q[2:4] = r.uniform(0.06, 0.14), r.uniform(0.09, 0.22)
        elif shape == "upright":
            q[2:4] = r.uniform(0.07, 0.16), r.uniform(0.3, 0.7)
        if r.random() < 0.3:
            d["bend"][s] = r.normal(0, 0.8)
        if shape == "narrow":
            q[6] = min(q[6], 0.5)
        if r.random() < 0.1:
            d["island"][4 * s:4 * s + 4] = second_place(r, q)
        elif r.random() < 0.1:
            d["ghost"][4 * s:4 * s + 4] = second_place(r, q)
    d["ghost_left"] = r.uniform(0.25, 0.7)
    if r.random() < 0.2:
        d["gaps"] = r.uniform(0.2, 1)
    if d["has_patch"] and r.random() < 0.15:
        d["polarity"] = 1
    if d["polarity"] and r.random() < 0.5:
        d["opacity"] *= r.uniform(0.15, 0.7)


def second_place(r, q):
    """A second place of contact beside a patch: middle off the first's, half sizes."""
    half = q[2] * r.uniform(0.3, 1), q[3] * r.uniform(0.5, 1.1)
    off = (q[2] + half[0]) * r.uniform(1.15, 1.8) * (1 if q[0] < 0.5 else -1)
    return off, r.normal(0, 0.1), *half


def bolts(r, d):
    z = d["Ri"] * d["cG"] - r.uniform(2, 25)
    circle = d["rbore"] * r.uniform(0.6, 0.95)
    height = r.uniform(5, 10)
    d["bolts"] = np.array([r.integers(6, 17), circle, z, r.uniform(5, 9), height, r.uniform(0, 6)])
    d["hub"][3] = [0, d["rbore"] * 1.0, z - 0.5, d["zback"] + r.uniform(5, 12)]


def other_gear(r, d, view):
    """In a picture without a ring gear: a pinion, a spur or a helical gear where it would have been."""
    if r.random() < 0.3:
        return
    radius = view.dist * np.tan(0.5) * r.uniform(0.12, 0.6)
    axis = unit(r.normal(size=3))
    twist = r.choice([0, 1]) * r.normal(0, 1.2) / radius * 10
    teeth = int(r.integers(8, 45))
    d["cog"] = np.array([*(view.target + view.look * radius * 0.3), *axis, radius, radius * np.exp(r.uniform(np.log(0.12), np.log(1.0))), teeth, twist, min(radius * 4.2 / teeth, radius * 0.35), 0])
