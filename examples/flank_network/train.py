"""Renders scenes on the GPU and trains the flank network on them.

    python3 train.py --render-seconds 240 --train-seconds 300 --out DIR
    torchrun --nproc-per-node 2 train.py …                                 the same on two cards

Writes DIR/flank_network.pt (resumable) and DIR/samples.png. Needs nvcc, PyTorch and an NVIDIA card; nothing users run needs one.
--keep FOLDER keeps the pictures there, so that a later run with --resume goes on with them and its own.
"""
import argparse, copy, ctypes, glob, os, subprocess, sys, tempfile, time
from concurrent.futures import ProcessPoolExecutor
import numpy as np
RANK, WORLD = int(os.environ.get("RANK", 0)), int(os.environ.get("WORLD_SIZE", 1))
if WORLD > 1:       # one card for each process; the renderer takes the first it sees
    os.environ["CUDA_VISIBLE_DEVICES"] = os.environ["LOCAL_RANK"]
import torch
import torch.distributed as dist
import torch.nn.functional as F
sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
import scenes
from network import FlankNet

W, H = 512, 384
DEV = "cuda:0"


def library():
    here = os.path.dirname(os.path.abspath(__file__))
    so = os.path.join(tempfile.mkdtemp(), "renderer.so")
    subprocess.check_call(["nvcc", "-O3", "-use_fast_math", "-shared", "-Xcompiler", "-fPIC", "-arch=native", os.path.join(here, "renderer.cu"), "-o", so])
    lib = ctypes.CDLL(so)
    assert lib.scene_floats() == scenes.SIZE, (lib.scene_floats(), scenes.SIZE)
    return lib


def despeckle(x):
    """Path-tracing speckles are no camera noise: pixels far brighter than their surroundings get the local median."""
    p = F.pad(x, (1, 1, 1, 1), mode="replicate")
    n = torch.stack([p[:, :, i:i + x.shape[2], j:j + x.shape[3]] for i in range(3) for j in range(3)])
    med = n.median(0).values
    lum, lm = x.mean(1, keepdim=True), med.mean(1, keepdim=True)
    return torch.where(lum > 1.6 * lm + 0.01, med, x)


def render(lib, pool, seconds, seed0, spp, batch=16):
    pics, labels = [], []
    t0, seed, kept = time.time(), seed0, 0
    ahead = [pool.submit(draw, list(range(seed + k * batch, seed + (k + 1) * batch))) for k in range(24)]
    nxt = seed + 24 * batch
    while time.time() - t0 < seconds:
        packs = ahead.pop(0).result()
        ahead.append(pool.submit(draw, list(range(nxt, nxt + batch)))); nxt += batch
        s = torch.from_numpy(packs).to(DEV)
        rgb = torch.empty(batch, H, W, 3, device=DEV)
        lab = torch.empty(4, batch, H, W, dtype=torch.uint8, device=DEV)
        p = lambda t: ctypes.c_void_p(t.data_ptr())
        lib.render_pictures(p(s), batch, W, H, spp, 3, p(rgb), p(lab[0]), p(lab[1]), p(lab[2]), p(lab[3]))
        torch.cuda.synchronize()
        assert lib.last_error() == 0
        lab = lab.permute(1, 0, 2, 3)[:, :3]
        flank = ((lab[:, 0] & 15) >= 2).float().mean((1, 2))
        light = rgb.mean((1, 2, 3))
        keep = ((flank > 0.03) | (torch.arange(batch, device=DEV) % 8 == 0)) & (light > 1e-3) & torch.isfinite(light)
        x = despeckle(rgb.permute(0, 3, 1, 2))[keep].half()
        pics.append(x); labels.append(lab[keep].contiguous())
        kept += int(keep.sum())
    print("card %d: kept %d in %.0f s, seeds %d to %d" % (RANK, kept, time.time() - t0, seed0, nxt - 24 * batch), flush=True)
    return torch.cat(pics), torch.cat(labels)


def draw(seeds):
    return np.stack([scenes.pack(scenes.scene(s)) for s in seeds])


def rand(n, lo, hi):
    return lo + (hi - lo) * torch.rand(n, 1, 1, 1, device=DEV)


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
    h, w = (W, H) if portrait else (H, W)
    x, cls = pic.float(), lab[:, 0]
    flank = ((cls & 15) >= 2)
    lum = x.mean(1)
    # exposure after the flanks mostly, after the whole picture otherwise
    small, on = lum[:, ::4, ::4].flatten(1), flank[:, ::4, ::4].flatten(1)
    on = on | (on.sum(1, keepdim=True) < 100) | (torch.rand(n, 1, device=DEV) < 0.2)
    k = torch.nanquantile(torch.where(on, small, torch.nan), 0.7, dim=1).view(n, 1, 1, 1)
    x = x * (torch.exp(rand(n, -2.1, -0.35)) / k.clamp_min(1e-4))
    zoom = torch.exp(rand(n, -0.35, 0.7)).view(n)
    ang = torch.rand(n, device=DEV) * 6.2832
    flip = torch.where(torch.rand(n, device=DEV) < 0.5, -1.0, 1.0)
    c, s = torch.cos(ang) / zoom, torch.sin(ang) / zoom
    # output pixel (isotropic units of half the output's longer side) -> input in grid_sample's units
    A = torch.zeros(n, 2, 3, device=DEV)
    m = 256.0
    fx, fy = (w / 2) / m, (h / 2) / m
    A[:, 0, 0], A[:, 0, 1] = c * fx * flip * m / (W / 2), -s * fy * m / (W / 2)
    A[:, 1, 0], A[:, 1, 1] = s * fx * flip * m / (H / 2), c * fy * m / (H / 2)
    # keep a flank pixel in view: aim at the mean of the flank pixels, jittered
    ys, xs = torch.meshgrid(torch.linspace(-1, 1, H, device=DEV), torch.linspace(-1, 1, W, device=DEV), indexing="ij")
    f = flank.float() + 1e-6
    tot = f.sum((1, 2))
    A[:, 0, 2] = (f * xs).sum((1, 2)) / tot * torch.rand(n, device=DEV) + torch.randn(n, device=DEV) * 0.18
    A[:, 1, 2] = (f * ys).sum((1, 2)) / tot * torch.rand(n, device=DEV) + torch.randn(n, device=DEV) * 0.18
    grid = F.affine_grid(A, (n, 3, h, w), align_corners=False)
    x = F.grid_sample(x, grid, mode="bilinear", padding_mode="reflection", align_corners=False)
    outside = (grid.abs() > 1).any(-1)
    coarse = grid[:, 0::2, 0::2] * 0.5 + grid[:, 1::2, 1::2] * 0.5
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
        lost = lost | hole[:, ::2, ::2]
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


def kept_pictures(folder):
    packs = [torch.load(f, map_location=DEV) for f in sorted(glob.glob(os.path.join(folder, "pictures%d_*.pt" % RANK)))]
    return [p[0] for p in packs], [p[1] for p in packs]


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--render-seconds", type=float, default=240)
    a.add_argument("--train-seconds", type=float, default=300)
    a.add_argument("--spp", type=int, default=14)
    a.add_argument("--seed", type=int, default=1_000_000)
    a.add_argument("--batch", type=int, default=48)
    a.add_argument("--rate", type=float, default=2e-3)
    a.add_argument("--resume")
    a.add_argument("--keep")
    a.add_argument("--out", default=".")
    a = a.parse_args()
    pool = ProcessPoolExecutor(12)      # forked before the card is touched
    list(pool.map(draw, [[i] for i in range(48)]))
    torch.backends.cudnn.benchmark = True
    torch.cuda.set_device(DEV)
    torch.manual_seed(RANK + a.seed)
    if WORLD > 1:
        dist.init_process_group("nccl")
    lib = library()
    pics, labs = kept_pictures(a.keep) if a.keep else ([], [])
    if a.render_seconds > 0:
        new = render(lib, pool, a.render_seconds, a.seed + RANK * 100_000, a.spp)
        pics.insert(0, new[0]); labs.insert(0, new[1])
        if a.keep:
            os.makedirs(a.keep, exist_ok=True)
            torch.save(new, os.path.join(a.keep, "pictures%d_%d.pt" % (RANK, a.seed)))
    pool.shutdown()
    pics, labs = torch.cat(pics), torch.cat(labs)
    held = min(256, len(pics) // 8)
    net = FlankNet().to(DEV).to(memory_format=torch.channels_last)
    if a.resume:
        net.load_state_dict(torch.load(a.resume, map_location=DEV))
    for p in net.state_dict().values():
        if WORLD > 1:
            dist.broadcast(p, 0)
    average = copy.deepcopy(net)
    step_net = torch.nn.parallel.DistributedDataParallel(net, device_ids=[DEV], broadcast_buffers=False) if WORLD > 1 else net
    print("card", RANK, "parameters", sum(p.numel() for p in net.parameters()), "pictures", len(pics), flush=True)
    opt = torch.optim.AdamW(net.parameters(), lr=a.rate, weight_decay=1e-4)
    t0, step, mean = time.time(), 0, None
    done = torch.zeros(1, device=DEV)
    while True:
        if step % 20 == 0:
            done.fill_((time.time() - t0) / a.train_seconds)
            if WORLD > 1:
                dist.broadcast(done, 0)
            share = float(done)
            if share >= 1:
                break
        for g in opt.param_groups:
            g["lr"] = a.rate * min(1, (step + 1) / 200) * (0.5 * (1 + np.cos(np.pi * share)) + 1e-3)
        i = torch.randint(held, len(pics), (a.batch,), device=DEV)
        with torch.no_grad():
            x, *t = augment(pics[i], labs[i], step % 2 == 1)
        with torch.autocast("cuda", torch.bfloat16):
            out = step_net(x.to(memory_format=torch.channels_last))
        loss, parts = loss_of(out.float(), *t)
        opt.zero_grad(set_to_none=True)
        loss.backward()
        torch.nn.utils.clip_grad_norm_(net.parameters(), 1.0)
        opt.step()
        with torch.no_grad():
            keep = min(0.998, (step + 1) / (step + 20))
            for old, now in zip(average.state_dict().values(), net.state_dict().values()):
                old.lerp_(now, 1 - keep) if old.is_floating_point() else old.copy_(now)
        p = torch.stack(parts)
        mean = p if mean is None else 0.98 * mean + 0.02 * p
        step += 1
        if step % 500 == 0 and RANK == 0:
            print("%5d %4.0f s  class %.3f  length %.4f  height %.4f  contact %.3f  film %.3f" % (step, time.time() - t0, *mean.tolist()), flush=True)
    if WORLD > 1:   # each card's running means are of its own pictures
        for p in average.state_dict().values():
            if p.is_floating_point():
                dist.all_reduce(p)
                p /= WORLD
        dist.destroy_process_group()
    if RANK > 0:
        return
    net = average
    net.eval()
    with torch.no_grad():
        tot = torch.zeros(5, device=DEV); c = 0
        for i in range(0, held, 32):
            x, *t = augment(pics[i:i + 32], labs[i:i + 32], False)
            out = net(x).float()
            tot += torch.stack(loss_of(out, *t)[1]); c += 1
            if i == 0:
                show = torch.cat([F.interpolate(x[:12], scale_factor=0.5), torch.stack([out[:12, 4], out[:12, 5], (out[:12, :4].argmax(1) == 3).float()], 1).clamp(0, 1) * (out[:12, :4].argmax(1) >= 2)[:, None],
                                  torch.stack([t[1][:12], t[2][:12], (t[0][:12] == 3).float()], 1) * (t[0][:12] >= 2)[:, None]], 2)
    print("held apart: class %.3f  length %.4f  height %.4f  contact %.3f  film %.3f" % tuple((tot / max(c, 1)).tolist()))
    os.makedirs(a.out, exist_ok=True)
    torch.save(net.state_dict(), os.path.join(a.out, "flank_network.pt"))
    from PIL import Image
    rows = torch.cat([torch.cat(list(show[i:i + 6]), 2) for i in range(0, 12, 6)], 1)
    Image.fromarray((rows.permute(1, 2, 0).clamp(0, 1).cpu().numpy() * 255).astype(np.uint8)).save(os.path.join(a.out, "samples.png"))


if __name__ == "__main__":
    main()
