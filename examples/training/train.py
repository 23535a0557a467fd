"""Renders scenes on the GPU and trains the flank network on them.

    python3 train.py --render-seconds 240 --train-seconds 300 --out DIR
    torchrun --nproc-per-node 2 train.py …                                 the same on two cards

Writes DIR/flank_network.pt (resumable) and DIR/flank_samples.png. Needs nvcc, PyTorch and an NVIDIA card; nothing users run needs one.
--keep FOLDER keeps the pictures there, so that a later run with --resume goes on with them and its own.
"""
import os, sys
import numpy as np
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from training import DEV, RANK, arguments, despeckle, drawn, fit, look_apart, pointer, rand, rendered     # chooses the card: before torch
import camera
import torch
import torch.nn.functional as F
import scenes
import workshop
from network import FlankNet, STRIDE

W, H = 768, 576                 # pictures as rendered
SHOWN_W, SHOWN_H = 384, 288     # and as the network is shown parts of them: those are as sharp as a photo's
REAL = 0.5                      # share of scenes with what real gears and workshops have more
UNASKED = -100                  # class of places that no error is taken at
NAMES = ["class", "length", "height", "contact", "film"]


def render(lib, pool, seconds, seed0, spp, batch=16):
    pics, labels, sizes = [], [], []
    for packs, shares in drawn(pool, draw, seconds, seed0, batch):
        s = torch.from_numpy(packs).to(DEV)
        rgb = torch.empty(batch, H, W, 3, device=DEV)
        lab = torch.empty(4, batch, H, W, dtype=torch.uint8, device=DEV)
        lib.render_pictures(pointer(s), batch, W, H, spp, 3, pointer(rgb), *[pointer(one) for one in lab])
        torch.cuda.synchronize()
        assert lib.last_error() == 0
        lab = lab.permute(1, 0, 2, 3)[:, :3]
        flank = ((lab[:, 0] & 15) >= 2).float().mean((1, 2))
        light = rgb.mean((1, 2, 3))
        keep = ((flank > 0.01) | (torch.arange(batch, device=DEV) % 8 == 0)) & (light > 1e-3) & torch.isfinite(light)
        pics.append(despeckle(rgb.permute(0, 3, 1, 2))[keep].half())
        labels.append(lab[keep].contiguous())
        sizes.append(torch.from_numpy(shares).to(DEV)[keep])
    pics, labels, sizes = torch.cat(pics), torch.cat(labels), torch.cat(sizes)
    print("card %d: kept %d, seeds from %d" % (RANK, len(pics), seed0), flush=True)
    return pics, labels, sizes


def draw(seeds):
    """Scenes, and the share of the picture's longer side that a flank's length would have if seen squarely."""
    made = []
    for s in seeds:
        real = np.random.default_rng([s, 65]).random() < REAL
        made.append(scenes.scene(s, make_gear=workshop.gear, more=workshop.add) if real else scenes.scene(s))
    return np.stack([scenes.pack(d) for d in made]), np.array([d["_share"] for d in made], np.float32)


def shown_part(flank, size, h, w):
    """Where in a picture, -1 … 1, each place of what the network is shown of it lies: turned, zoomed, mirrored, bent by the lens; and the zoom."""
    n = len(size)
    # half as the pictures are, half so that flanks of all sizes are as frequent
    zoom = torch.exp(rand(n, -0.5, 0.9)).view(n)
    even = torch.exp(rand(n, *np.log((24, 300)))).view(n) / (size * max(w, h))
    zoom = torch.where(torch.rand(n, device=DEV) < 0.5, zoom, even.clamp(0.6, 2.6))
    angle = torch.rand(n, device=DEV) * 6.2832
    flip = torch.where(torch.rand(n, device=DEV) < 0.5, -1.0, 1.0)
    c, s = torch.cos(angle) / zoom, torch.sin(angle) / zoom
    # the output's grid, in units of half its longer side -> the same of the input's
    A = torch.zeros(n, 2, 2, device=DEV)
    fx, fy = w / max(w, h), h / max(w, h)
    A[:, 0, 0], A[:, 0, 1] = c * fx * flip, -s * fy
    A[:, 1, 0], A[:, 1, 1] = s * fx * flip * W / H, c * fy * W / H
    # keep flanks in view: aim at the mean of the flank pixels or at one of them, jittered
    rows, cols = flank.shape[1:]
    ys, xs = torch.meshgrid((torch.arange(rows, device=DEV) + 0.5) * 2 / rows - 1, (torch.arange(cols, device=DEV) + 0.5) * 2 / cols - 1, indexing="ij")
    f = flank.float() + 1e-6
    total = f.sum((1, 2))
    mean = torch.stack([(f * xs).sum((1, 2)) / total, (f * ys).sum((1, 2)) / total], 1) * torch.rand(n, 1, device=DEV)
    one = torch.multinomial(f.flatten(1), 1)[:, 0]
    one = torch.stack([xs.flatten()[one], ys.flatten()[one]], 1)
    aim = torch.where(torch.rand(n, 1, device=DEV) < 0.6, mean, one) + torch.randn(n, 2, device=DEV) * 0.18
    gy, gx = torch.meshgrid((torch.arange(h, device=DEV) + 0.5) * 2 / h - 1, (torch.arange(w, device=DEV) + 0.5) * 2 / w - 1, indexing="ij")
    bend = torch.where(torch.rand(n, device=DEV) < 0.5, 0.0, 1.0) * rand(n, -0.12, 0.12).view(n)
    bent = torch.stack([gx, gy], -1)[None] * (1 + bend.view(n, 1, 1, 1) * ((gx * fx) ** 2 + (gy * fy) ** 2)[None, :, :, None])
    return torch.einsum("nij,nhwj->nhwi", A, bent) + aim.view(n, 1, 1, 2), zoom


def augment(pic, lab, size, portrait):
    """One training batch: turn, zoom, mirror, bend, expose, hide, colour, blur, noise, compression."""
    n = pic.shape[0]
    h, w = (SHOWN_W, SHOWN_H) if portrait else (SHOWN_H, SHOWN_W)
    x, cls = pic.float(), lab[:, 0]
    coarse = (cls[:, ::4, ::4] & 15) >= 2
    # exposure after the flanks mostly, after the whole picture otherwise
    small, on = x.mean(1)[:, ::4, ::4].flatten(1), coarse.flatten(1)
    on = on | (on.sum(1, keepdim=True) < 100) | (torch.rand(n, 1, device=DEV) < 0.3)
    k = torch.nanquantile(torch.where(on, small, torch.nan), 0.7, dim=1).view(n, 1, 1, 1)
    x = x * (torch.exp(rand(n, -2.1, -0.35)) / k.clamp_min(1e-4))
    grid, zoom = shown_part(coarse, size, h, w)
    shrunk = W / max(w, h) / zoom           # one output pixel is the mean of so many squared
    x = camera.blur(x, (0.3 * (shrunk ** 2 - 1).clamp_min(0).sqrt()).clamp_min(0.1))
    x = F.grid_sample(x, grid, mode="bilinear", padding_mode="reflection", align_corners=False)
    outside = (grid.abs() > 1).any(-1)
    coarse = F.avg_pool2d(grid.permute(0, 3, 1, 2), STRIDE).permute(0, 2, 3, 1)
    y = F.grid_sample(lab.float(), coarse, mode="nearest", padding_mode="zeros", align_corners=False)
    lost = (coarse.abs() > 1).any(-1)
    raw = y[:, 0].to(torch.uint8)
    x, hidden = camera.things_near_the_lens(x, ((raw & 15) >= 2) & ~lost, y[:, 1] / 255, STRIDE)
    x = camera.sent_on(camera.developed(camera.lens(x)))
    # past the picture's edge: plain, or the picture mirrored, of which nothing is asked
    plain = torch.rand(n, 1, 1, device=DEV) < 0.5
    x = torch.where((outside & plain)[:, None], torch.rand(n, 3, 1, 1, device=DEV), x)
    x, hidden = camera.plain_patches(x, hidden, STRIDE)
    k = (raw & 15).long()
    k = torch.where(lost | hidden, torch.zeros_like(k), k)
    k = torch.where(lost & ~plain, torch.full_like(k, UNASKED), k)
    return x, k, y[:, 1] / 255, y[:, 2] / 255, (raw >> 7).float(), ((raw >> 6) & 1).float()


def loss_of(out, k, u, v, patch, film):
    wts = torch.tensor([1.0, 1.0, 1.5, 1.5], device=DEV)
    l_cls = F.cross_entropy(out[:, :4], k, wts, ignore_index=UNASKED)
    on = (k >= 2).float(); n = on.sum() + 100
    eu, ev = (out[:, 4] - u).abs(), (out[:, 5] - v).abs()
    l_uv = ((eu + ev) * on).sum() / n
    bce = F.binary_cross_entropy_with_logits
    l_p = (bce(out[:, 6], patch, reduction="none") * on).sum() / n
    l_f = (bce(out[:, 7], film, reduction="none") * on).sum() / n
    # what the network expects its own errors to be: the negative logarithm of a Laplace density, of errors that are held still
    l_e = sum((((e.detach() + 0.003) * torch.exp(-s) + s) * on).sum() / n for e, s in ((eu, out[:, 8].clamp(-7, 2)), (ev, out[:, 9].clamp(-7, 2))))
    return l_cls + 4 * l_uv + 0.5 * l_p + 0.25 * l_f + 0.05 * l_e, (l_cls.detach(), (eu * on).sum().detach() / n, (ev * on).sum().detach() / n, l_p.detach(), l_f.detach())


def main():
    a = arguments(render_seconds=240, train_seconds=300, spp=14, seed=1_000_000, rate=2e-3)
    pics, labs, sizes = rendered(a, draw, render, apart=100_000)
    held = min(256, len(pics) // 8)

    def sample(step):
        i = torch.randint(held, len(pics), (a.batch,), device=DEV)
        x, *t = augment(pics[i], labs[i], sizes[i], step % 2 == 1)
        return x, t

    net = fit(FlankNet(), a, sample, loss_of, NAMES)
    if RANK > 0:
        return

    def shown(x, out, t):
        found, form = out[:, :4].argmax(1), lambda k: (k == 3).float()
        said_so = torch.stack([out[:, 4], out[:, 5], form(found)], 1).clamp(0, 1) * (found >= 2)[:, None]
        true = torch.stack([t[1], t[2], form(t[0])], 1) * (t[0] >= 2)[:, None]
        return torch.cat([F.avg_pool2d(x, STRIDE), said_so, true], 2)

    def batch(of):
        x, *t = augment(pics[of], labs[of], sizes[of], False)
        return x, t

    look_apart(net, a, "flank", held, batch, loss_of, NAMES, shown, across=6)


if __name__ == "__main__":
    main()
