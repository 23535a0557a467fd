"""Renders scenes on the GPU and trains the flank network on them.

    python3 train.py --render-seconds 240 --train-seconds 300 --out DIR
    torchrun --nproc-per-node 2 train.py …                                 the same on two cards

Writes DIR/flank_network.pt (resumable) and DIR/samples.png. Needs nvcc, PyTorch and an NVIDIA card; nothing users run needs one.
--keep FOLDER keeps the pictures there, so that a later run with --resume goes on with them and its own.
"""
import os, sys
import numpy as np
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from training import DEV, RANK, arguments, despeckle, drawn, fit, pointer, rand, rendered, said     # chooses the card: before torch
import torch
import torch.nn.functional as F
import scenes
from network import FlankNet, STRIDE

W, H = 768, 576                 # pictures as rendered
SHOWN_W, SHOWN_H = 384, 288     # and as the network is shown parts of them: those are as sharp as a photo's
NAMES = ["class", "length", "height", "contact", "film"]


def render(lib, pool, seconds, seed0, spp, batch=16):
    pics, labels = [], []
    for packs in drawn(pool, draw, seconds, seed0, batch):
        s = torch.from_numpy(packs).to(DEV)
        rgb = torch.empty(batch, H, W, 3, device=DEV)
        lab = torch.empty(4, batch, H, W, dtype=torch.uint8, device=DEV)
        lib.render_pictures(pointer(s), batch, W, H, spp, 3, pointer(rgb), *[pointer(one) for one in lab])
        torch.cuda.synchronize()
        assert lib.last_error() == 0
        lab = lab.permute(1, 0, 2, 3)[:, :3]
        flank = ((lab[:, 0] & 15) >= 2).float().mean((1, 2))
        light = rgb.mean((1, 2, 3))
        keep = ((flank > 0.03) | (torch.arange(batch, device=DEV) % 8 == 0)) & (light > 1e-3) & torch.isfinite(light)
        pics.append(despeckle(rgb.permute(0, 3, 1, 2))[keep].half())
        labels.append(lab[keep].contiguous())
    pics, labels = torch.cat(pics), torch.cat(labels)
    print("card %d: kept %d, seeds from %d" % (RANK, len(pics), seed0), flush=True)
    return pics, labels


def draw(seeds):
    return np.stack([scenes.pack(scenes.scene(s)) for s in seeds])


def blur(x, sigma):
    k = torch.arange(-4, 5, device=DEV, dtype=torch.float32)[None, :]
    g = torch.exp(-k ** 2 / (2 * sigma.view(-1, 1) ** 2)); g = g / g.sum(1, keepdim=True)
    n, c, h, w = x.shape
    y = F.conv2d(F.pad(x.reshape(1, n * c, h, w), (4, 4, 0, 0), mode="reflect"), g.repeat_interleave(c, 0).view(n * c, 1, 1, 9), groups=n * c)
    y = F.conv2d(F.pad(y, (0, 0, 4, 4), mode="reflect"), g.repeat_interleave(c, 0).view(n * c, 1, 9, 1), groups=n * c)
    return y.reshape(n, c, h, w)


DCT = torch.tensor([[np.sqrt((1 if k else 0.5) / 4) * np.cos((2 * i + 1) * k * np.pi / 16) for i in range(8)] for k in range(8)], dtype=torch.float32)
QUANT = torch.tensor([[16, 11, 10, 16, 24, 40, 51, 61], [12, 12, 14, 19, 26, 58, 60, 55], [14, 13, 16, 24, 40, 57, 69, 56], [14, 17, 22, 29, 51, 87, 80, 62],
                      [18, 22, 37, 56, 68, 109, 103, 77], [24, 35, 55, 64, 81, 104, 113, 92], [49, 64, 78, 87, 103, 121, 120, 101], [72, 92, 95, 98, 112, 100, 103, 99]], dtype=torch.float32)


def jpeg(x, strength):
    """Quantises 8 x 8 blocks with the luminance table of ITU-T T.81 Annex K, scaled."""
    n, c, h, w = x.shape
    D = DCT.to(DEV)
    b = x.view(n, c, h // 8, 8, w // 8, 8).permute(0, 1, 2, 4, 3, 5)
    q = D @ b @ D.T
    s = QUANT.to(DEV) / 255 * strength.view(-1, 1, 1, 1, 1, 1)
    b = D.T @ (torch.round(q / s) * s) @ D
    return b.permute(0, 1, 2, 4, 3, 5).reshape(n, c, h, w)


def augment(pic, lab, portrait):
    """One training batch: turn, zoom, mirror, expose, colour, blur, noise, compression."""
    n = pic.shape[0]
    h, w = (SHOWN_W, SHOWN_H) if portrait else (SHOWN_H, SHOWN_W)
    x, cls = pic.float(), lab[:, 0]
    flank = ((cls & 15) >= 2)
    lum = x.mean(1)
    # exposure after the flanks mostly, after the whole picture otherwise
    small, on = lum[:, ::4, ::4].flatten(1), flank[:, ::4, ::4].flatten(1)
    on = on | (on.sum(1, keepdim=True) < 100) | (torch.rand(n, 1, device=DEV) < 0.2)
    k = torch.nanquantile(torch.where(on, small, torch.nan), 0.7, dim=1).view(n, 1, 1, 1)
    x = x * (torch.exp(rand(n, -2.1, -0.35)) / k.clamp_min(1e-4))
    zoom = torch.exp(rand(n, -0.5, 0.9)).view(n)
    ang = torch.rand(n, device=DEV) * 6.2832
    flip = torch.where(torch.rand(n, device=DEV) < 0.5, -1.0, 1.0)
    c, s = torch.cos(ang) / zoom, torch.sin(ang) / zoom
    # the output's grid, in units of half its longer side -> the same of the input's
    A = torch.zeros(n, 2, 3, device=DEV)
    fx, fy = w / max(w, h), h / max(w, h)
    A[:, 0, 0], A[:, 0, 1] = c * fx * flip, -s * fy
    A[:, 1, 0], A[:, 1, 1] = s * fx * flip * W / H, c * fy * W / H
    # keep a flank pixel in view: aim at the mean of the flank pixels, jittered
    ys, xs = torch.meshgrid(torch.linspace(-1, 1, H, device=DEV), torch.linspace(-1, 1, W, device=DEV), indexing="ij")
    f = flank.float() + 1e-6
    tot = f.sum((1, 2))
    A[:, 0, 2] = (f * xs).sum((1, 2)) / tot * torch.rand(n, device=DEV) + torch.randn(n, device=DEV) * 0.18
    A[:, 1, 2] = (f * ys).sum((1, 2)) / tot * torch.rand(n, device=DEV) + torch.randn(n, device=DEV) * 0.18
    grid = F.affine_grid(A, (n, 3, h, w), align_corners=False)
    shrunk = W / max(w, h) / zoom           # one output pixel is the mean of so many squared
    x = blur(x, (0.3 * (shrunk ** 2 - 1).clamp_min(0).sqrt()).clamp_min(0.1))
    x = F.grid_sample(x, grid, mode="bilinear", padding_mode="reflection", align_corners=False)
    outside = (grid.abs() > 1).any(-1)
    coarse = F.avg_pool2d(grid.permute(0, 3, 1, 2), STRIDE).permute(0, 2, 3, 1)
    y = F.grid_sample(lab.float(), coarse, mode="nearest", padding_mode="zeros", align_corners=False)
    lost = (coarse.abs() > 1).any(-1)
    # camera
    x = x * (1 + torch.randn(n, 3, 1, 1, device=DEV) * 0.10)
    vig = torch.linspace(-1, 1, w, device=DEV).view(1, 1, 1, w) ** 2 + torch.linspace(-1, 1, h, device=DEV).view(1, 1, h, 1) ** 2
    x = x * (1 - rand(n, -0.05, 0.25) * vig)
    x = blur(x, rand(n, 0.2, 1.0) * torch.where(torch.rand(n, 1, 1, 1, device=DEV) < 0.15, 2.0, 1.0))
    x = x.clamp_min(0)
    x = x / (1 + rand(n, 0, 0.5) * x)
    x = x.clamp(0, 1) ** (1 / rand(n, 1.9, 2.5))
    x = torch.lerp(x, x * x * (3 - 2 * x), rand(n, -0.1, 0.6))
    g = x.mean(1, keepdim=True)
    x = g + (x - g) * rand(n, 0.55, 1.4)
    x = x + torch.randn_like(x) * rand(n, 0, 0.03)
    x = torch.where(torch.rand(n, 1, 1, 1, device=DEV) < 0.6, jpeg(x.clamp(0, 1), rand(n, 0.1, 1.2)), x).clamp(0, 1)
    x = torch.where(outside[:, None] & (torch.rand(n, 1, 1, 1, device=DEV) < 0.5), torch.rand(n, 3, 1, 1, device=DEV), x)
    # things in the way: a plain patch with no label
    for _ in range(2):
        cx, cy, r1, r2, a = [torch.rand(n, 1, 1, device=DEV) for _ in range(5)]
        gy, gx = torch.meshgrid(torch.arange(h, device=DEV) / h, torch.arange(w, device=DEV) / w, indexing="ij")
        dx, dy = gx - cx, gy - cy
        p, q = dx * torch.cos(a * 6.28) + dy * torch.sin(a * 6.28), dy * torch.cos(a * 6.28) - dx * torch.sin(a * 6.28)
        hole = (p.abs() < 0.02 + 0.08 * r1) & (q.abs() < 0.02 + 0.4 * r2) & (torch.rand(n, 1, 1, device=DEV) < 0.15)
        x = torch.where(hole[:, None], torch.rand(n, 3, 1, 1, device=DEV) * 0.8 + x * 0.2, x)
        lost = lost | hole[:, STRIDE // 2::STRIDE, STRIDE // 2::STRIDE]
    raw = y[:, 0].to(torch.uint8)
    k = (raw & 15).long()
    k = torch.where(lost, torch.zeros_like(k), k)
    return x, k, y[:, 1] / 255, y[:, 2] / 255, (raw >> 7).float(), ((raw >> 6) & 1).float()


def loss_of(out, k, u, v, patch, film):
    wts = torch.tensor([1.0, 1.0, 1.5, 1.5], device=DEV)
    l_cls = F.cross_entropy(out[:, :4], k, wts)
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
    pics, labs = rendered(a, draw, render, apart=100_000)
    held = min(256, len(pics) // 8)

    def sample(step):
        i = torch.randint(held, len(pics), (a.batch,), device=DEV)
        x, *t = augment(pics[i], labs[i], step % 2 == 1)
        return x, t

    net = fit(FlankNet(), a, sample, loss_of, NAMES)
    if RANK > 0:
        return
    os.makedirs(a.out, exist_ok=True)
    torch.save(net.state_dict(), os.path.join(a.out, "flank_network.pt"))
    with torch.no_grad():
        parts = []
        for i in range(0, held, 32):
            x, *t = augment(pics[i:i + 32], labs[i:i + 32], False)
            out = net(x).float()
            parts.append(torch.stack(loss_of(out, *t)[1]))
            if i == 0:
                show = torch.cat([F.avg_pool2d(x[:12], STRIDE), torch.stack([out[:12, 4], out[:12, 5], (out[:12, :4].argmax(1) == 3).float()], 1).clamp(0, 1) * (out[:12, :4].argmax(1) >= 2)[:, None],
                                  torch.stack([t[1][:12], t[2][:12], (t[0][:12] == 3).float()], 1) * (t[0][:12] >= 2)[:, None]], 2)
    print("held apart: " + said(NAMES, torch.stack(parts).mean(0)))
    from PIL import Image
    rows = torch.cat([torch.cat(list(show[i:i + 6]), 2) for i in range(0, 12, 6)], 1)
    Image.fromarray((rows.permute(1, 2, 0).clamp(0, 1).cpu().numpy() * 255).astype(np.uint8)).save(os.path.join(a.out, "samples.png"))


if __name__ == "__main__":
    main()
