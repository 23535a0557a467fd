"""Renders flattened flanks on the GPU and trains a patch network on them.

    python3 patch_train.py --render-seconds 60 --train-seconds 200 --out DIR
    torchrun --nproc-per-node 2 patch_train.py …                           the same on two cards
    python3 patch_train.py --fine …                                        the network of fine maps
    python3 patch_train.py --shapes …                                      with patches of any shape and what real gears and workshops have

Each sample is a few flanks of one gear, flattened to 128 x 48 cells of length x height (fine: 256 x 96) and put one under the other, as src/segment shows them to
the network: square root of light over the mean light of what is seen, cells that are not seen mid-grey. Labels come from the contact function itself.
Writes DIR/patch_network.pt and DIR/patch_samples.png.
"""
import sys
import numpy as np
import training
from training import DEV, RANK, arguments, drawn, fit, look_apart, pointer, rand, rendered     # chooses the card: before torch
import torch
import torch.nn.functional as F
import scenes
import workshop
from network import FINE_PATCH_WIDTHS, FlankNet, PATCH_STRIDE, PATCH_WIDTHS

FINE = "--fine" in sys.argv
TIMES = 2 if FINE else 1          # cells of a map along each side, for one of a small map
NU, NV = 128 * TIMES, 48 * TIMES
SOFT, SOFTEST = ((-1.6, 1.0), 2.5) if FINE else ((-2.2, 0.5), 2.0)      # logarithm of the lens's blur, and its most, cells
TRIED, TEETH = 7, 4               # flanks looked at in a scene, and flanks of a sample
ANY_SHAPE = "--shapes" in sys.argv
REAL, SHAPES = 0.5, 0.65          # then: shares of scenes with what real gears and workshops have more, and with patches of any shape
GREY = 0.18 ** 0.5
NAMES = ["contact", "compound", "overlap", "centre off: length", "height"]


def draw(seeds):
    """Scenes, and for each the flanks to look at and how their outlines are off."""
    packs, teeth, sides, warps = [], [], [], []
    for seed in seeds:
        r = np.random.default_rng(seed + 77)
        kind = r.choice(["painted", "clean", "unrolled"], p=[0.84, 0.04, 0.12])
        real = dict(make_gear=workshop.gear, more=workshop.add) if ANY_SHAPE and r.random() < REAL else {}
        d = scenes.scene(seed, kind, **real)
        if ANY_SHAPE and r.random() < SHAPES:
            workshop.patches(r, d)
        packs.append(scenes.pack(d))
        teeth.append(d["_mid"] + np.arange(TRIED) - TRIED // 2 + r.integers(-1, 2))
        sides.append(np.full(TRIED, r.integers(2)))
        size = r.choice([0.0, 0.01, 0.025]) * np.array([1, 1, 1, 2, 2, 2])
        common = r.normal(0, size)
        warps.append(np.array([0, 1, 0, 0, 0, 1]) + common + r.normal(0, size / 2, (TRIED, 6)))
    return np.stack(packs), np.array(teeth, np.int32), np.array(sides, np.int32), np.array(warps, np.float32)


def despeckle(x):
    flat = x.reshape(-1, NV, NU, 3).permute(0, 3, 1, 2)
    return training.despeckle(flat)


def render(lib, pool, seconds, seed0, spp, batch=24):
    pics, bits, tried = [], [], 0
    for arrays in drawn(pool, draw, seconds, seed0, batch):
        packs, teeth, sides, warps = [torch.from_numpy(a).to(DEV) for a in arrays]
        rgb = torch.empty(batch, TRIED, NV, NU, 3, device=DEV)
        bit = torch.empty(batch, TRIED, NV, NU, dtype=torch.uint8, device=DEV)
        # a look at which flanks are seen, of either side, then those of the side that shows more
        shown = []
        for side in (0, 1):
            sides.fill_(side)
            lib.render_maps(*map(pointer, (packs, teeth, sides, warps)), batch, TRIED, 16, 6, 1, 1, pointer(rgb), pointer(bit))
            shown.append((bit.flatten()[:batch * TRIED * 96].view(batch, TRIED, 96) >> 3 & 1).float().mean(2))
        better = ((shown[0] > 0.6).sum(1) < (shown[1] > 0.6).sum(1)).int()
        seen = torch.where(better[:, None] > 0, shown[1], shown[0])
        good = (seen > 0.6).sum(1) >= TEETH
        if not good.any():
            continue
        order = seen.argsort(1, descending=True)[:, :TEETH].sort(1).values
        packs = packs[good].contiguous()
        n = len(packs)
        teeth = teeth.gather(1, order)[good].contiguous()
        warps = warps.gather(1, order[:, :, None].expand(-1, -1, 6))[good].contiguous()
        sides = better[good][:, None].expand(-1, TEETH).int().contiguous()
        rgb = torch.empty(n, TEETH, NV, NU, 3, device=DEV)
        bit = torch.empty(n, TEETH, NV, NU, dtype=torch.uint8, device=DEV)
        lib.render_maps(*map(pointer, (packs, teeth, sides, warps)), n, TEETH, NU, NV, spp, 3, pointer(rgb), pointer(bit))
        torch.cuda.synchronize()
        assert lib.last_error() == 0
        x = despeckle(rgb).view(n, TEETH, 3, NV, NU)
        fine = torch.isfinite(x).flatten(1).all(1) & (x.mean((1, 2, 3, 4)) > 1e-3)
        pics.append(x[fine].half()); bits.append(bit[fine])
        tried += batch
    pics, bits = torch.cat(pics), torch.cat(bits)
    print("card %d: %d samples of %d scenes, seeds from %d" % (RANK, len(pics), tried, seed0), flush=True)
    return pics, bits


def soften(x, sigma):
    """Blurs along the last axis."""
    n, c, h, w = x.shape
    k = torch.arange(-6, 7, device=DEV, dtype=torch.float32)[None, :]
    g = torch.exp(-k ** 2 / (2 * sigma.view(-1, 1) ** 2)); g = g / g.sum(1, keepdim=True)
    y = F.pad(x, (6, 6, 0, 0), mode="replicate").transpose(0, 1).reshape(1, c * n, h, w + 12)
    return F.conv2d(y, g.repeat(c, 1).view(n * c, 1, 1, 13), groups=n * c).view(c, n, h, w).transpose(0, 1)


def augment(pic, bit):
    """pic: n x teeth x 3 x NV x NU linear, bit alike: the network's input n x 3 x teeth NV x NU, and labels at half the size: contact, compound, seen."""
    n, k = pic.shape[:2]
    x = pic.float()
    if torch.rand(()) < 0.5:
        x, bit = x.flip(1), bit.flip(1)
    if torch.rand(()) < 0.5:
        x, bit = x.flip(-1), bit.flip(-1)
    x = x.permute(0, 2, 1, 3, 4).reshape(n, 3, k * NV, NU)
    b = bit.reshape(n, k * NV, NU)
    # lens and camera
    lum = x.mean(1)
    level = torch.nanquantile(torch.where((b & 1) > 0, lum, torch.nan)[:, ::3, ::3].flatten(1), 0.7, dim=1).nan_to_num(0.2).view(n, 1, 1, 1)
    x = x * (torch.exp(rand(n, -2.3, -0.2)) / level.clamp_min(1e-4)) * (1 + torch.randn(n, 3, 1, 1, device=DEV) * 0.1)
    s = torch.exp(rand(n, *SOFT))
    x = soften(soften(x, s.clamp_max(SOFTEST)).transpose(2, 3), (s * torch.exp(rand(n, -0.3, 0.7))).clamp_max(SOFTEST)).transpose(2, 3)
    x = x.clamp_min(0)
    x = x / (1 + rand(n, 0, 0.5) * x)
    x = x.clamp(0, 1) ** (1 / rand(n, 1.9, 2.5))
    x = torch.lerp(x, x * x * (3 - 2 * x), rand(n, -0.1, 0.6))
    g = x.mean(1, keepdim=True)
    colour = x - g
    coarse = F.interpolate(F.avg_pool2d(colour, 2 * TIMES), scale_factor=2 * TIMES, mode="bilinear")    # as strong compression leaves it
    x = g + torch.where(torch.rand(n, 1, 1, 1, device=DEV) < 0.25, coarse, colour) * rand(n, 0.5, 1.4)
    noise = torch.randn_like(x) * rand(n, 0, 0.03)
    x = x + torch.where(torch.rand(n, 1, 1, 1, device=DEV) < 0.5, noise, F.avg_pool2d(noise, 3, 1, 1) * 2)
    x = ((x * 255).round() / 255).clamp(0, 1)
    # things in the way
    seen = (b & 1) > 0
    for _ in range(2):
        cx, cy, r1, r2 = [torch.rand(n, 1, 1, device=DEV) for _ in range(4)]
        gy, gx = torch.meshgrid(torch.arange(k * NV, device=DEV) / NV, torch.arange(NU, device=DEV) / NU, indexing="ij")
        hole = ((gx - cx).abs() < 0.02 + 0.15 * r1) & ((gy - k * cy).abs() < 0.05 + 0.4 * r2) & (torch.rand(n, 1, 1, device=DEV) < 0.12)
        glare = hole & (torch.rand(n, 1, 1, device=DEV) < 0.5)
        x = torch.where(glare[:, None], torch.ones_like(x), x)
        seen = seen & ~(hole & ~glare)
    return network_input(x, seen), labels(b, seen)


def network_input(x, seen):
    """sRGB-like x → square root of light over the mean of what is seen."""
    light = x ** 2.2
    m = (light.mean(1) * seen).sum((1, 2)) / seen.sum((1, 2)).clamp_min(1)
    y = (light * (0.18 / m.clamp_min(1e-4)).view(-1, 1, 1, 1)).sqrt().clamp_max(1.5)
    return torch.where(seen[:, None], y, torch.full_like(y, GREY))


def labels(b, seen):
    half = lambda m: F.avg_pool2d(m.float()[:, None], 2)[:, 0]
    return half((b & 2) > 0), half((b & 4) > 0), half(seen), half(seen & ((b & 8) > 0))


def loss_of(out, contact, film, seen, here):
    bce = F.binary_cross_entropy_with_logits
    weight = 0.25 + 0.75 * seen
    l_c = (bce(out[:, 0], contact, reduction="none") * weight).mean()
    l_f = (bce(out[:, 1], film, reduction="none") * here).sum() / here.sum().clamp_min(1)
    q = torch.sigmoid(out[:, 0])
    n, h, w = q.shape
    per = lambda m: m.view(n, h * 2 // NV, NV // 2, w)
    a, b = per(q), per(contact)
    few = 5 * TIMES ** 2
    dice = 1 - (2 * (a * b).sum((2, 3)) + few) / (a.sum((2, 3)) + b.sum((2, 3)) + few)
    us = (torch.arange(w, device=DEV) + 0.5) / w
    vs = (torch.arange(NV // 2, device=DEV) + 0.5) / (NV // 2)
    mid = lambda m: ((m.sum(2) * us).sum(2) / (m.sum((2, 3)) + 1), (m.sum(3) * vs).sum(2) / (m.sum((2, 3)) + 1))
    real = (b.sum((2, 3)) > 2 * few).float()
    off = [((p - t).abs() * real).sum() / (real.sum() + 1) for p, t in zip(mid(a), mid(b))]
    return l_c + 0.3 * l_f + 0.3 * dice.mean() + 2 * (off[0] + off[1]), (l_c.detach(), l_f.detach(), dice.mean().detach(), off[0].detach(), off[1].detach())


def main():
    a = arguments(render_seconds=60, train_seconds=200, spp=12, seed=20_000_000, rate=3e-3, flags=["--fine", "--shapes"])
    pics, bits = rendered(a, draw, render, apart=1_000_000)
    held = min(192, len(pics) // 8)
    rng = np.random.default_rng(5)          # the same number of flanks on every card

    def sample(step):
        k = int(rng.choice([1, 2, 3, 4, 4]))
        i = torch.randint(held, len(pics), (a.batch,), device=DEV)
        return augment(pics[i][:, :k], bits[i][:, :k])

    net = fit(FlankNet(PATCH_STRIDE, FINE_PATCH_WIDTHS if FINE else PATCH_WIDTHS, 2), a, sample, loss_of, NAMES)
    if RANK > 0:
        return

    def shown(x, out, t):
        low = lambda m: m.clamp(0, 1)[:, None].expand(-1, 3, -1, -1)
        return torch.cat([F.avg_pool2d(x, 2).clamp(0, 1), low(torch.sigmoid(out[:, 0])), low(t[0]), low(torch.sigmoid(out[:, 1])), low(t[1])], 3)

    look_apart(net, a, "patch", held, lambda of: augment(pics[of], bits[of]), loss_of, NAMES, shown)


if __name__ == "__main__":
    main()
