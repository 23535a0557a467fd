"""Renders photo-like pictures with exact truth: the example pair, and photos with seeds the training never saw.

    python3 photos.py pair --card ../larchfield/card.toml --out DIR     drive.jpg, coast.jpg and their truth
    python3 photos.py apart --count 40 --out DIR --seconds 90           h001.jpg … with h001.json

Truth is measured on the contact function itself, on a grid of every flank, and carried into the picture by the renderer's pinhole camera;
nothing of it goes through flankread. Uses nvcc and PyTorch where there is a card for them; otherwise g++ (large pictures then take hours).
"""
import argparse, ctypes, json, os, re, subprocess, tempfile, time, tomllib
from concurrent.futures import ProcessPoolExecutor
import numpy as np
from PIL import Image

import scenes
import workshop
from scenes import unit

HERE = os.path.dirname(os.path.abspath(__file__))
try:
    import torch
    CUDA = torch.cuda.is_available()
except ImportError:
    CUDA = False


class Renderer:
    def __init__(self):
        so = os.path.join(tempfile.mkdtemp(), "flank_renderer.so")
        src = os.path.join(HERE, "renderer.cu")
        if CUDA:
            subprocess.check_call(["nvcc", "-O3", "-use_fast_math", "-shared", "-Xcompiler", "-fPIC", "-arch=native", src, "-o", so])
        else:
            subprocess.check_call(["g++", "-O3", "-ffast-math", "-fopenmp", "-shared", "-fPIC", "-x", "c++", src, "-o", so])
        self.lib = ctypes.CDLL(so)
        assert self.lib.scene_floats() == scenes.SIZE

    def _call(self, f, d, outs, *args):
        """Calls f(scene, *args, *outs) and returns the filled arrays."""
        s = scenes.pack(d)
        if CUDA:
            s = torch.from_numpy(s).cuda()
            bufs = [torch.zeros(shape, dtype=getattr(torch, kind), device="cuda") for shape, kind in outs]
            p = lambda a: ctypes.c_void_p(a.data_ptr())
        else:
            bufs = [np.zeros(shape, kind) for shape, kind in outs]
            p = lambda a: a.ctypes.data_as(ctypes.c_void_p)
        f(p(s), *args, *[p(b) for b in bufs])
        if CUDA:
            torch.cuda.synchronize()
        assert self.lib.last_error() == 0
        return [b.cpu().numpy() if CUDA else b for b in bufs]

    def picture(self, d, w, h, spp, depth=4):
        """Linear colours, class, u, v (0 to 255) and tooth of every pixel."""
        return self._call(self.lib.render_pictures, d, [((h, w, 3), "float32")] + [((h, w), "uint8")] * 4, 1, w, h, spp, depth)

    def wiped(self, d, tooth, side, nu=160, nv=100):
        return self._call(self.lib.wiped_grid, d, [((nv, nu), "uint8")], int(tooth), side, nu, nv)[0]


def flank_point(d, tooth, side, u, v):
    """Point of a flank in the gear's frame: the inverse of flank_at in renderer.h. side 0 = convex, 1 = concave."""
    u, v = np.broadcast_arrays(np.asarray(u, float), np.asarray(v, float))
    middle = (d["am"] - d["bm"]) / 2
    h = middle
    for _ in range(6):      # the ends hang on the height, and the height, on a taper, on the cone distance
        toe, heel = d["Ri"] + d["toe_tilt"] * (h - middle) + d["ktoe"], d["Re"] + d["heel_tilt"] * (h - middle) - d["kheel"]
        R = toe + u * (heel - toe)
        t = R - d["Rm"]
        a, b = d["am"] + t * d["ta"], d["bm"] + t * d["tb"]
        h = v * (a + b - d["kf"] - d["ke"]) - b + d["kf"]
    th = d["p0"] + t * (d["p1"] + t * (d["p2"] + t * (d["p3"] + t * d["p4"])))
    slope = d["p1"] + t * (2 * d["p2"] + t * (3 * d["p3"] + t * 4 * d["p4"]))
    cb = 1 / np.sqrt(1 + (slope * R * d["sG"]) ** 2)
    wn = (d["share0"] + d["share1"] * t / (d["Re"] - d["Ri"])) * np.pi / d["teeth"] * R * d["sG"] * cb
    q = (h + b) / (a + b)
    wn = wn + d["bulge"] * 4 * q * (1 - q) * (a + b)
    x = -(wn - h * d["tan_convex"]) if side == 0 else wn - h * d["tan_concave"]
    th = th + d["phase"] + tooth * 2 * np.pi / d["teeth"] + x / (R * d["sG"] * cb)
    r = R * d["sG"] + h * d["cG"]
    return np.stack([r * np.cos(th), d["mirror"] * r * np.sin(th), R * d["cG"] - h * d["sG"]], -1)


def project(d, p, w, h):
    """Pixels of points and their depth: the inverse of pixel_dir in renderer.h."""
    cam = np.asarray(d["cam"], float)
    q = p - cam[:3]
    depth = q @ cam[9:12]
    k = 2 * d["tanfov"] / max(w, h) * np.where(depth > 1e-3, depth, 1e-3)
    return np.stack([0.5 * w + q @ cam[3:6] / k, 0.5 * h - q @ cam[6:9] / k], -1), depth


def largest_region(m):
    """The largest 4-connected region of a mask."""
    seen, best = np.zeros(m.shape, bool), []
    for start in zip(*np.nonzero(m)):
        if seen[start]:
            continue
        seen[start] = True
        todo, got = [start], []
        while todo:
            i, j = todo.pop()
            got.append((i, j))
            for n in ((i + 1, j), (i - 1, j), (i, j + 1), (i, j - 1)):
                if 0 <= n[0] < m.shape[0] and 0 <= n[1] < m.shape[1] and m[n] and not seen[n]:
                    seen[n] = True
                    todo.append(n)
        if len(got) > len(best):
            best = got
    return np.array(best, int).reshape(-1, 2)


def visible_share(d, labels, tooth, side, w, h):
    """Share of a grid of the flank whose pixel shows this flank, share in the frame, and flank length and height in pixels."""
    u, v = np.meshgrid(np.linspace(0.02, 0.98, 25), np.linspace(0.06, 0.94, 9))
    q, depth = project(d, flank_point(d, tooth, side, u, v), w, h)
    inside = (depth > 1) & (q[..., 0] >= 0) & (q[..., 0] < w - 0.5) & (q[..., 1] >= 0) & (q[..., 1] < h - 0.5)
    x, y = np.clip(q[..., 0], 0, w - 1).astype(int), np.clip(q[..., 1], 0, h - 1).astype(int)
    _, cls, lu, lv, t = labels
    hit = inside & ((cls[y, x] & 15) == 2 + side) & (t[y, x] == tooth)
    err = np.abs(np.stack([lu[y, x] / 255 - u, lv[y, x] / 255 - v]))
    length = np.linalg.norm(np.diff(q[4], axis=0), axis=-1).sum()
    height = np.linalg.norm(q[-1, 12] - q[0, 12])
    return hit.mean(), inside.mean(), length, height, err[:, hit]


def painted(d, tooth):
    return (int(tooth) - int(d["first_tooth"])) % int(d["teeth"]) < d["painted_teeth"]


def measurable_teeth(d, labels, side, w, h, least_length=0.17, least_height=0.022):
    out = []
    for tooth in np.unique(labels[4][(labels[1] & 15) == 2 + side]):
        share, inside, length, height, _ = visible_share(d, labels, tooth, side, w, h)
        if share > 0.85 and inside > 0.999 and painted(d, tooth) and length > least_length * max(w, h) and height > least_height * max(w, h):
            out.append(int(tooth))
    return out


def truth_of(render, d, labels, side, w, h, name, status, reason, least=(0.09, 0.012)):
    teeth, partial, other, errors = [], [], [], []
    r2 = lambda a: np.round(a, 2).tolist()
    v4, u12, flat = np.linspace(0, 1, 5), np.linspace(0, 1, 13), lambda x, n: np.full(n, float(x))
    pu = np.concatenate([flat(0, 4), u12[:-1], flat(1, 4), u12[::-1][:-1]])
    pv = np.concatenate([v4[:-1], flat(1, 12), v4[::-1][:-1], flat(0, 12)])
    for s in (side, 1 - side):
        for tooth in np.unique(labels[4][(labels[1] & 15) == 2 + s]):
            share, inside, length, height, err = visible_share(d, labels, tooth, s, w, h)
            if share < 0.1:
                continue
            q, _ = project(d, flank_point(d, tooth, s, pu, pv), w, h)
            one = dict(tooth=int(tooth), corners=r2(q[[0, 4, 16, 20]]), visible_fraction=round(float(share), 3))
            if s != side:
                other.append(one)
                continue
            errors.append(err)
            one["painted"] = bool(painted(d, tooth))
            if share < 0.85 or inside < 0.999:
                partial.append(one)
                continue
            one.update(polygon=r2(q), polygon_corner_index=[0, 4, 16, 20], in_frame_fraction=1.0, flank_length_px=round(float(length), 1),
                       flank_height_px=round(float(height), 1), patch=None, measurable=False)
            grid = render.wiped(d, tooth, s)
            cells = np.argwhere(grid) if d["island"][4 * s:4 * s + 4].any() else largest_region(grid)      # of two islands the middle of all contact
            big = length > least[0] * max(w, h) and height > least[1] * max(w, h)
            if len(cells) > 50 and one["painted"] and big:
                n = np.array(grid.shape, float)
                c, size = (cells.mean(0) + 0.5) / n, (np.ptp(cells, axis=0) + 1) / n
                one["patch"] = dict(center=np.round(c[::-1], 5).tolist(), area=round(len(cells) / grid.size, 5), length=round(size[1], 5), height=round(size[0], 5))
                one["measurable"] = True
            teeth.append(one)
    e = np.concatenate(errors, 1) if errors else np.zeros((2, 0))
    assert e.size == 0 or np.median(e) < 0.02, "projected flank points and labels disagree: %s" % np.median(e, 1)
    good = [t["patch"] for t in teeth if t["measurable"]]
    mean, position = None, "none"
    if good:
        c = np.mean([g["center"] for g in good], 0)
        mean = dict(center=np.round(c, 5).tolist(), length=round(float(np.mean([g["length"] for g in good])), 5),
                    height=round(float(np.mean([g["height"] for g in good])), 5), n=len(good))
        ends = ["toe"] * int(c[0] < 0.4) + ["heel"] * int(c[0] > 0.6) + ["low"] * int(c[1] < 0.4) + ["high"] * int(c[1] > 0.6)
        position = "_".join(ends) or "centred"
    return dict(image=name + ".jpg", seed=int(d["_seed"]), status=status, reason=reason, width=w, height=h, stored_width=w, stored_height=h, exif_orientation=1,
                method="face_hobbed" if d["_hobbed"] else "face_milled", hand="right" if d["mirror"] > 0 else "left", flank=("drive", "coast")[side],
                flank_shape=("convex", "concave")[side], compound=np.round(np.asarray(d["paint"], float), 2).tolist(), position=position,
                gear=dict(teeth=int(d["teeth"]), outer_diameter=round(float(d["_od"]), 3), face_width=round(float(d["_b"]), 3)),
                teeth=teeth, partial_teeth=partial, other_flank_teeth=other, mean=mean)


def photo(rgb, on_flank, seed, stops, path, quality=85):
    """Linear colours to a JPEG as a phone would make it: exposed for the flanks, tone curve, a little noise and softness."""
    r = np.random.default_rng(seed)
    rgb = np.nan_to_num(rgb)                          # one such pixel would make the exposure none
    lum = rgb.mean(-1)
    lift = np.pad(rgb, ((1, 1), (1, 1), (0, 0)), mode="edge")
    h, w = lum.shape
    med = np.median(np.stack([lift[i:i + h, j:j + w] for i in range(3) for j in range(3)]), axis=0)
    speck = lum > 1.6 * med.mean(-1) + 0.01           # tracing speckles are no camera noise
    x = np.where(speck[..., None], med, rgb)
    k = np.quantile(lum[on_flank] if on_flank.sum() > 500 else lum, 0.7)
    x = x * (0.26 * 2.0 ** stops / max(k, 1e-4)) * (1 + r.normal(0, 0.05, 3))
    yy, xx = np.mgrid[-1:1:h * 1j, -1:1:w * 1j]
    x = x * (1 - 0.12 * (xx ** 2 + yy ** 2))[..., None]
    x = x / (1 + 0.25 * x)
    x = np.clip(x, 0, 1) ** (1 / 2.2)
    x = x + (x * x * (3 - 2 * x) - x) * r.uniform(0, 0.4)
    x = x + r.normal(0, 0.006, x.shape)
    Image.fromarray((np.clip(x, 0, 1) * 255 + 0.5).astype(np.uint8)).save(path, quality=quality)


def save(render, pool, out, name, d, side, w, h, spp, status="ok", reason=None, stops=0.0, quality=85, **least):
    labels = render.picture(d, w, h, spp)
    truth = truth_of(render, d, labels, side, w, h, name, status, reason, **least)
    with open(os.path.join(out, name + ".json"), "w") as f:
        json.dump(truth, f, separators=(",", ":"))
    n = sum(t["measurable"] for t in truth["teeth"])
    print(name, truth["flank"], status, reason or "", n, truth["mean"] and truth["mean"]["center"], flush=True)
    return pool.submit(photo, labels[0], (labels[1] & 15) == 2 + side, d["_seed"], stops, os.path.join(out, name + ".jpg"), quality)


def length_mm(text):
    number, unit_name = re.fullmatch(r"([\d.]+)\s*(in|mm)", text).groups()
    return float(number) * (25.4 if unit_name == "in" else 1)


def gear_of_card(path):
    g = tomllib.load(open(path, "rb"))["gear"]
    assert g["cutting"] == "face-milled" and g["drives_on"] == "convex"
    Gamma, beta, alpha, z2 = np.radians(g["pitch_angle_deg"]), np.radians(g["spiral_angle_deg"]), np.radians(g["pressure_angle_deg"]), g["ring_teeth"]
    od, b, rc = length_mm(g["ring_diameter"]), length_mm(g["face_width"]), length_mm(g["cutter_radius"])
    depth, clear, am = length_mm(g["whole_depth"]), length_mm(g["clearance"]), length_mm(g["addendum"])
    sG, cG = np.sin(Gamma), np.cos(Gamma)
    Re = od / 2 / sG
    Rm, Ri, taper, share = Re - b / 2, Re - b, np.radians(g["taper_deg"]), am / depth
    _, p = scenes.tooth_trace(Ri, Re, Rm, beta, rc, False, 0, z2, sG, 1)
    pn, t = 2 * np.pi * Rm * sG / z2 * np.cos(beta), np.tan(alpha)
    top = 0.2 * od / z2                                    # land left at the tip: common practice, no source
    d = dict(teeth=z2, sG=sG, cG=cG, Ri=Ri, Re=Re, Rm=Rm, am=am, ta=np.tan(taper * share), bm=depth - am, tb=np.tan(taper * (1 - share)),
             share0=(top + 2 * am * t) / pn, share1=0.03, tan_convex=t, tan_concave=t, ke=0.25, ktoe=0.25, kheel=0.25, kf=clear, zback=Re * cG + (depth - am) * sG + 9,
             rbore=Ri * sG * 0.8, rout=Re * sG, step=2, phase=0.3, mirror=-1 if g["hand"] == "left" else 1, has_gear=1,
             _b=b, _od=od, _Gamma=Gamma, _hobbed=False, _met=od / z2)
    return d | {"p%d" % i: p[i] for i in range(5)}


def pair(a, render, pool):
    """Drive and coast of the card's gear, on a bench, painted all round. --drive and --coast: patch centre and extent, from `flankread simulate`."""
    d = scenes.scene(a.seed, make_gear=lambda r: gear_of_card(a.card), plain=True)
    for i, (cu, cv, length, height, lean) in enumerate((a.drive, a.coast)):
        # the lean of the ellipse is a slope in flank shares
        lean = np.tan(np.radians(lean)) * d["_b"] / ((d["am"] + d["bm"]) * 0.9)
        d["patch"][i] = [cu, cv, length / 2, height / 2, lean, 2.2, 0.12, 0.02]
    rb = d["rbore"]
    hub = np.zeros((4, 4))
    hub[0] = [0, rb, d["Ri"] * d["cG"] - 4, d["zback"] + 4]
    hub[1] = [0, rb * 0.45, d["Ri"] * d["cG"] - 30, d["Ri"] * d["cG"]]
    blob = np.zeros((6, 7)); blob[:, 3] = 2
    for i, (x, y, z, size, e) in enumerate([(0.5, 0.5, -1, 0.55, 0.9), (-0.7, 0.2, -0.8, 0.45, 0.5), (0.1, -0.8, -0.9, 0.5, 0.5)]):
        c = np.cos(size)
        blob[i] = [*unit([x, y, z]), c, *(np.array([1.0, 0.97, 0.92]) * e / (2 * (1 - c)))]
    d.update(hub=hub, ke=0.25, edge_flat=0, house_r=0, plane=np.array([[0, 0, -1, d["zback"] + 0.5], [0, 0, 1, 2e5]], float), plane_kind=[1, 0], caps=np.zeros((8, 10)),
             plane_col=np.array([[0.22, 0.13, 0.07, 0.30, 0.19, 0.11]] * 2), cog=np.zeros(12), flash_col=np.zeros(3), sky=np.array([0.45, 0.47, 0.5]), wall_z=-1e6,
             ground=np.array([0.12, 0.11, 0.1]), up=np.array([0, 0, -1.0]), blob=blob, steel=np.full(3, 0.05), steel_f0=np.full(3, 0.22), steel_rough=0.5, mottle=0.3,
             mottle_scale=0.3, rust=0, other=np.full(3, 0.12), other_rough=0.5, other_f0=0.2, paint=np.array([0.78, 0.56, 0.05]), paint_rough=0.45, opacity=3.5, streak=0.45,
             bare=0.15, top_share=0.5, root_share=0.7, ragged=0.4, first_tooth=0, painted_teeth=d["teeth"], other_flank_painted=1, polarity=0, streak_u=3, streak_v=16, streak_lean=0, fleck=0, blotch=0, uneven=0, reach=0.25, scatter_u=0.012, scatter_v=0.010,
             rim=0.7, slide=0.4, has_patch=1, stain=0.6, tanfov=18 / 28, _seed=a.seed)
    w, h = 1600, 1200
    for side, name in enumerate(("drive", "coast")):
        r, best = np.random.default_rng(a.seed + side), (0, None)
        for _ in range(60 if CUDA else 8):
            e = dict(d, **aim(d, r))
            labels = render.picture(e, w // 4, h // 4, 1, 1)
            teeth = measurable_teeth(e, labels, side, w // 4, h // 4)
            sizes = [visible_share(e, labels, t, side, w // 4, h // 4)[2:4] for t in teeth]
            value = min(len(teeth), 6) * np.median([y for _, y in sizes]) if teeth else 0
            if value > best[0]:
                best = value, e
        yield save(render, pool, a.out, name, best[1], side, w, h, a.spp, quality=82)


def aim(d, r):
    """A camera over the bench that looks at some teeth."""
    th = r.uniform(0, 2 * np.pi)
    er, et = np.array([np.cos(th), np.sin(th), 0]), np.array([-np.sin(th), np.cos(th), 0])
    target = er * (d["Rm"] * d["sG"]) + np.array([0, 0, d["Rm"] * d["cG"]])
    look = unit(np.array([0, 0, -1.0]) + er * r.uniform(-0.1, 0.7) + et * r.normal(0, 0.8))
    dist = d["_od"] * r.uniform(0.42, 0.7) / 2 / d["tanfov"]
    pos = target + look * dist
    right = unit(np.cross(-look, unit(er * r.normal() + et * r.normal())))
    return dict(cam=np.concatenate([pos, right, np.cross(right, -look), -look]), aperture=0.15, focus=dist)


def apart(a, render, pool):
    """Readable photos first … then the faults. Scenes are drawn from the training's ranges with other seeds, and kept where the view is good."""
    faults = ["no_compound", "not_wiped", "blurred", "over_exposed", "no_compound", "not_wiped"][:max(a.count * 6 // 40, 0)]
    want = [None] * (a.count - len(faults))
    every = len(want) // (len(faults) + 1) + 1
    for i, f in enumerate(faults):
        want.insert((i + 1) * every + i, f)
    seed, t0 = a.seed, time.time()
    real = dict(make_gear=workshop.gear, more=workshop.add) if a.real else {}
    smallest, most = ((0.05, 0.008), 25) if a.real else ((0.17, 0.022), 9)
    least = dict(least=(0.04, 0.006)) if a.real else {}
    for i, fault in enumerate(want):
        side, (w, h) = i % 2, ((1600, 1200), (1200, 1600))[i % 3 == 2]
        while True:
            if time.time() - t0 > a.seconds:
                print("out of time after", i, "photos", flush=True)
                return
            seed += 1
            r = np.random.default_rng(seed + 500)
            d = scenes.scene(seed, {"no_compound": "clean", "not_wiped": "unrolled"}.get(fault, "painted"), plain=a.plain, **real)
            dist = d["focus"]
            d.update(_seed=seed, polarity=0, other_flank_painted=1, aperture=r.uniform(0.05, 0.5), streak=min(d["streak"], 0.6), opacity=max(d["opacity"], 2.2), bare=min(d["bare"], 0.25), blotch=min(d["blotch"], 0.34))
            d["patch"][:, 7] = np.minimum(d["patch"][:, 7], 0.1)
            d["patch"][:, :2] = np.clip(d["patch"][:, :2], 0.22, 0.78)
            if a.shapes:
                workshop.patches(r, d)
            if fault != "no_compound" and r.random() < 0.6:
                d["painted_teeth"], d["first_tooth"] = d["teeth"], 0
            if fault == "blurred":
                d.update(aperture=dist * d["tanfov"] * 0.10, focus=dist * 0.6)
            seen = dict(d, painted_teeth=d["teeth"], first_tooth=0) if fault == "no_compound" else d
            labels = render.picture(d, w // 5, h // 5, 1, 1)
            shown = [np.sum((labels[1] & 15) == 2 + s) for s in (side, 1 - side)]
            if shown[0] > 1.15 * shown[1] and 4 <= len(measurable_teeth(seen, labels, side, w // 5, h // 5, *smallest)) <= most:
                break                                      # the flank that is meant is the one that shows more
        # the focus lies on the flanks in view
        if fault != "blurred":
            mid = measurable_teeth(seen, labels, side, w // 5, h // 5, *smallest)
            d["focus"] = float(np.median([project(d, flank_point(d, t, side, 0.5, 0.5), w, h)[1] for t in mid]))
        status = "unreadable" if fault else "ok"
        yield save(render, pool, a.out, "h%03d" % (i + 1), d, side, w, h, a.spp, status, fault, 4.5 if fault == "over_exposed" else r.uniform(-0.6, 0.5), a.quality, **least)


def main():
    a = argparse.ArgumentParser()
    a.add_argument("what", choices=["pair", "apart"])
    a.add_argument("--out", required=True)
    a.add_argument("--card", default=os.path.join(HERE, "../larchfield/card.toml"))
    four = lambda s: [float(x) for x in s.split(",")]
    a.add_argument("--drive", type=four, default="0.6286,0.6104,0.537,0.738,1.9", help="length, height, extents, lean in degrees")
    a.add_argument("--coast", type=four, default="0.4641,0.7177,0.535,0.569,-3.1")
    a.add_argument("--seed", type=int)
    a.add_argument("--spp", type=int)
    a.add_argument("--count", type=int, default=40)
    a.add_argument("--quality", type=int, default=85, help="of the JPEG files of `apart`")
    a.add_argument("--plain", action="store_true", help="scenes as in the first sets (scenes.py)")
    a.add_argument("--real", action="store_true", help="scenes with what real gears and workshops have more (workshop.py), and flanks down to a twentieth of the picture")
    a.add_argument("--shapes", action="store_true", help="patches of all shapes that misaligned gears have (workshop.py)")
    a.add_argument("--seconds", type=float, default=90)
    a = a.parse_args()
    a.seed = a.seed if a.seed is not None else {"pair": 8_900_000, "apart": 9_000_000}[a.what]
    a.spp = a.spp or {"pair": 96, "apart": 48}[a.what]
    os.makedirs(a.out, exist_ok=True)
    t0 = time.time()
    with ProcessPoolExecutor(8) as pool:
        render = Renderer()
        for job in list((pair if a.what == "pair" else apart)(a, render, pool)):
            job.result()
    print("%.0f s" % (time.time() - t0))


if __name__ == "__main__":
    main()
