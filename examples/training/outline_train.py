"""Renders flattened flanks with what lies about them and trains the outline network on them.

    python3 outline_train.py --render-seconds 200 --train-seconds 300 --out DIR

Each sample is one flank as a fitted gear lays it out, with a margin all round, 160 x 96 cells of length x height: the fit is off by some of the length and much of
the height, and the network says of each cell whether it shows this flank, other parts of the gear or none of it, and at which length and height it truly lies.
Shades are as the patch networks see them. Writes DIR/outline_network.pt and DIR/outline_samples.png.
"""
import numpy as np
import training
from training import DEV, RANK, arguments, drawn, fit, look_apart, pointer, rand, rendered     # chooses the card: before torch
import torch
import torch.nn.functional as F
import camera
import scenes
import workshop
from network import FlankNet, OUTLINE_WIDTHS, PATCH_STRIDE
from patch_train import network_input, soften

NU, NV = 160, 96                                        # cells of what the network is shown
LENGTH, HEIGHT = (-0.2, 1.2), (-0.6, 1.5)               # and the part of the flank's plane that they cover
WIDE_LENGTH, WIDE_HEIGHT = (-0.34, 1.34), (-1.0, 1.8)   # of what is rendered, from which they are cut
WIDE_NU, WIDE_NV = 192, 128
TRIED, TEETH = 7, 4                                     # flanks looked at in a scene, and most taken from it
REAL = 0.5                                              # share of scenes with what real gears and workshops have more
NAMES = ["class", "length", "height", "height elsewhere"]


def draw(seeds):
    packs, teeth, sides = [], [], []
    for seed in seeds:
        r = np.random.default_rng(seed + 77)
        real = r.random() < REAL
        d = scenes.scene(seed, make_gear=workshop.gear, more=workshop.add) if real else scenes.scene(seed)
        packs.append(scenes.pack(d))
        teeth.append(d["_mid"] + np.arange(TRIED) - TRIED // 2 + r.integers(-1, 2))
        sides.append(np.full(TRIED, r.integers(2)))
    return np.stack(packs), np.array(teeth, np.int32), np.array(sides, np.int32)


def render(lib, pool, seconds, seed0, spp, batch=24):
    pics, bits, tried = [], [], 0
    whole = torch.tensor([0, 1, 0, 0, 0, 1], dtype=torch.float32, device=DEV)
    wide = torch.tensor([WIDE_LENGTH[0], WIDE_LENGTH[1] - WIDE_LENGTH[0], 0, WIDE_HEIGHT[0], 0, WIDE_HEIGHT[1] - WIDE_HEIGHT[0]], dtype=torch.float32, device=DEV)
    for arrays in drawn(pool, draw, seconds, seed0, batch):
        packs, teeth, sides = [torch.from_numpy(a).to(DEV) for a in arrays]
        rgb = torch.empty(batch, TRIED, 16, 6, 3, device=DEV)
        bit = torch.empty(batch, TRIED, 16 * 6, dtype=torch.uint8, device=DEV)
        warps = whole.expand(batch, TRIED, 6).contiguous()
        shown = []
        for side in (0, 1):
            sides.fill_(side)
            lib.render_maps(*map(pointer, (packs, teeth, sides, warps)), batch, TRIED, 16, 6, 1, 1, pointer(rgb), pointer(bit))
            shown.append((bit >> 3 & 1).float().mean(2))
        better = ((shown[0] > 0.5).sum(1) < (shown[1] > 0.5).sum(1)).int()
        seen = torch.where(better[:, None] > 0, shown[1], shown[0])
        good = (seen > 0.35).sum(1) >= TEETH
        if not good.any():
            continue
        order = seen.argsort(1, descending=True)[:, :TEETH].sort(1).values
        packs = packs[good].contiguous()
        n = len(packs)
        teeth = teeth.gather(1, order)[good].contiguous()
        sides = better[good][:, None].expand(-1, TEETH).int().contiguous()
        warps = wide.expand(n, TEETH, 6).contiguous()
        rgb = torch.empty(n, TEETH, WIDE_NV, WIDE_NU, 3, device=DEV)
        bit = torch.empty(n, TEETH, WIDE_NV, WIDE_NU, dtype=torch.uint8, device=DEV)
        lib.render_maps(*map(pointer, (packs, teeth, sides, warps)), n, TEETH, WIDE_NU, WIDE_NV, spp, 3, pointer(rgb), pointer(bit))
        torch.cuda.synchronize()
        assert lib.last_error() == 0
        x = training.despeckle(rgb.view(-1, WIDE_NV, WIDE_NU, 3).permute(0, 3, 1, 2))
        bit = bit.view(-1, WIDE_NV, WIDE_NU)
        fine = torch.isfinite(x).flatten(1).all(1) & (x.mean((1, 2, 3)) > 1e-3)
        pics.append(x[fine].half()); bits.append(bit[fine])
        tried += batch
    pics, bits = torch.cat(pics), torch.cat(bits)
    print("card %d: %d flanks of %d scenes, seeds from %d" % (RANK, len(pics), tried, seed0), flush=True)
    return pics, bits


def spread(n, lo, hi):
    """Normal deviates whose deviation is anything between the two, by its logarithm."""
    return torch.randn(n, 1, 1, device=DEV) * torch.exp(rand(n, np.log(lo), np.log(hi))).view(n, 1, 1)


def laid_out(n):
    """Lengths and heights that the cells of each sample truly have, where the fit is off."""
    across = (torch.arange(NU, device=DEV) + 0.5) / NU * (LENGTH[1] - LENGTH[0]) + LENGTH[0]
    up = (torch.arange(NV, device=DEV) + 0.5) / NV * (HEIGHT[1] - HEIGHT[0]) + HEIGHT[0]
    b, a = torch.meshgrid(up, across, indexing="ij")
    a, b = a[None], b[None]
    each = lambda lo, hi: (spread(n, lo, hi), spread(n, lo, hi), spread(n, lo, hi))
    # both ends together and each for itself
    common, toe, heel = each(0.003, 0.05)
    toe, heel = (common + toe).clamp(-0.13, 0.13), (common + heel).clamp(-0.13, 0.13)
    both, root_toe, root_heel = each(0.02, 0.2)
    root_toe, root_heel = (both + root_toe).clamp(-0.35, 0.35), (both + root_heel).clamp(-0.35, 0.35)
    both, tip_toe, tip_heel = each(0.01, 0.12)
    tip_toe, tip_heel = (both + tip_toe).clamp(-0.25, 0.25), (both + tip_heel).clamp(-0.25, 0.25)
    along = lambda at_toe, at_heel: at_toe + (at_heel - at_toe) * a
    u = a + along(toe, heel) + (b - 0.5) * spread(n, 0.002, 0.03)
    bow = spread(n, 0.003, 0.05) * 4 * a * (1 - a)
    v = b + along(root_toe, root_heel) * (1 - b) + along(tip_toe, tip_heel) * b + bow
    return u, v


def augment(pic, bit):
    """pic: n x 3 x wide linear, bit alike: the network's input, and labels at half the size: class, length, height."""
    n = len(pic)
    u, v = laid_out(n)
    place = lambda x, of: ((x - of[0]) / (of[1] - of[0])) * 2 - 1
    grid = torch.stack([place(u, WIDE_LENGTH), place(v, WIDE_HEIGHT)], -1)
    x = F.grid_sample(pic.float(), grid, mode="bilinear", padding_mode="border", align_corners=False)
    half = lambda m: F.avg_pool2d(m[:, None], 2)[:, 0]
    u, v = half(u), half(v)
    coarse = torch.stack([place(u, WIDE_LENGTH), place(v, WIDE_HEIGHT)], -1)
    b = F.grid_sample(bit[:, None].float(), coarse, mode="nearest", padding_mode="zeros", align_corners=False)[:, 0].to(torch.uint8)
    here, gear = (b & 8) > 0, (b & 16) > 0
    light = x.mean(1)
    small = F.avg_pool2d(light[:, None], 2)[:, 0]
    level = torch.nanquantile(torch.where(here, small, torch.nan)[:, ::2, ::2].flatten(1), 0.7, dim=1).nan_to_num(0.2).view(n, 1, 1, 1)
    x = x * (torch.exp(rand(n, -2.3, -0.2)) / level.clamp_min(1e-4))
    s = torch.exp(rand(n, -2.0, 0.7))
    x = soften(soften(x, s.clamp_max(2.2)).transpose(2, 3), (s * torch.exp(rand(n, -0.3, 0.8))).clamp_max(2.5)).transpose(2, 3)
    x, covered = camera.things_near_the_lens(x, here, u, PATCH_STRIDE)
    x = camera.sent_on(camera.developed(camera.lens(x)))
    x, covered = camera.plain_patches(x, covered, PATCH_STRIDE)
    x = ((x * 255).round() / 255).clamp(0, 1)
    # past the photo's edge nothing is seen
    gy, gx = camera.places(NV, NU)
    edge = camera.side_of_a_circle(n, gy, gx, torch.rand(n, 2, device=DEV), camera.any_direction(n)) > 0
    edge = edge & (torch.rand(n, 1, 1, device=DEV) < 0.15)
    seen = ~edge
    outside = edge[:, 1::2, 1::2]
    k = torch.where(here & ~covered & ~outside, 2, torch.where(gear & ~covered & ~outside, 1, 0))
    return network_input(x, seen), (k, u, v)


def loss_of(out, k, u, v):
    l_k = F.cross_entropy(out[:, :3], k)
    on = (k == 2).float()
    off = 1 - on
    eu, ev = (out[:, 3] - u).abs(), (out[:, 4] - v).abs()
    mean = lambda e, m: (e * m).sum() / (m.sum() + 100)
    # what the network expects its own errors to be: the negative logarithm of a Laplace density, of errors that are held still
    expected = sum(mean((e.detach() + 0.002) * torch.exp(-s) + s, on) for e, s in ((eu, out[:, 5].clamp(-7, 2)), (ev, out[:, 6].clamp(-7, 2))))
    loss = l_k + 6 * (mean(eu, on) + mean(ev, on)) + 1.0 * (mean(eu.clamp_max(0.5), off) + mean(ev.clamp_max(0.5), off)) + 0.05 * expected
    return loss, (l_k.detach(), mean(eu, on).detach(), mean(ev, on).detach(), mean(ev, off).detach())


def main():
    a = arguments(render_seconds=200, train_seconds=300, spp=10, seed=50_000_000, rate=3e-3)
    pics, bits = rendered(a, draw, render, apart=1_000_000)
    held = min(384, len(pics) // 8)

    def sample(step):
        i = torch.randint(held, len(pics), (a.batch,), device=DEV)
        return augment(pics[i], bits[i])

    net = fit(FlankNet(PATCH_STRIDE, OUTLINE_WIDTHS, 7), a, sample, loss_of, NAMES)
    if RANK > 0:
        return

    def shown(x, out, t):
        plane = lambda k, u, v: torch.stack([u, v, k / 2], 1).clamp(0, 1)
        return torch.cat([F.avg_pool2d(x, 2).clamp(0, 1), plane(t[0].float(), t[1], t[2]), plane(out[:, :3].argmax(1).float(), out[:, 3], out[:, 4])], 3)

    look_apart(net, a, "outline", held, lambda of: augment(pics[of], bits[of]), loss_of, NAMES, shown)


if __name__ == "__main__":
    main()
