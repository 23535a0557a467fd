"""Renders flattened flanks on the GPU and trains the patch network on them.

    python3 patch_train.py --render-seconds 60 --train-seconds 200 --out DIR
    torchrun --nproc-per-node 2 patch_train.py …                           the same on two cards

Each sample is a few flanks of one gear, flattened to 256 x 96 cells of length x height and put one under the other, as src/segment shows them to
the network: square root of light over the mean light of what is seen, cells that are not seen mid-grey. Labels come from the contact function itself.
Writes DIR/patch_network.pt and DIR/patches.png.
"""
import argparse, copy, ctypes, os, time
from concurrent.futures import ProcessPoolExecutor
import numpy as np
import train                      # chooses this process's card before torch is loaded
from train import DEV, RANK, WORLD, rand
import torch
import torch.distributed as dist
import torch.nn.functional as F
import scenes
from network import FlankNet, PATCH_WIDTHS

NU, NV = 256, 96
TRIED, TEETH = 7, 4               # flanks looked at in a scene, and flanks of a sample
GREY = 0.18 ** 0.5


def draw(seeds):
    """Scenes, and for each the flanks to look at and how their outlines are off."""
    packs, teeth, sides, warps = [], [], [], []
    for seed in seeds:
        r = np.random.default_rng(seed + 77)
        kind = r.choice(["painted", "clean", "unrolled"], p=[0.84, 0.04, 0.12])
        d = scenes.scene(seed, kind)
        packs.append(scenes.pack(d))
        teeth.append(d["_mid"] + np.arange(TRIED) - TRIED // 2 + r.integers(-1, 2))
        sides.append(np.full(TRIED, r.integers(2)))
        size = r.choice([0.0, 0.01, 0.025]) * np.array([1, 1, 1, 2, 2, 2])
        common = r.normal(0, size)
        warps.append(np.array([0, 1, 0, 0, 0, 1]) + common + r.normal(0, size / 2, (TRIED, 6)))
    return np.stack(packs), np.array(teeth, np.int32), np.array(sides, np.int32), np.array(warps, np.float32)


def despeckle(x):
    flat = x.reshape(-1, NV, NU, 3).permute(0, 3, 1, 2)
    return train.despeckle(flat)


def render(lib, pool, seconds, seed0, spp, batch=24):
    pics, bits = [], []
    t0, nxt, tried = time.time(), seed0, 0
    ahead = []
    more = lambda: ahead.append(pool.submit(draw, list(range(nxt, nxt + batch))))
    for _ in range(24):
        more(); nxt += batch
    while time.time() - t0 < seconds:
        packs, teeth, sides, warps = [torch.from_numpy(a).to(DEV) for a in ahead.pop(0).result()]
        more(); nxt += batch
        rgb = torch.empty(batch, TRIED, NV, NU, 3, device=DEV)
        bit = torch.empty(batch, TRIED, NV, NU, dtype=torch.uint8, device=DEV)
        p = lambda t: ctypes.c_void_p(t.data_ptr())
        # a look at which flanks are seen, of either side, then those of the side that shows more
        shown = []
        for side in (0, 1):
            sides.fill_(side)
            lib.render_maps(p(packs), p(teeth), p(sides), p(warps), batch, TRIED, 16, 6, 1, 1, p(rgb), p(bit))
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
        lib.render_maps(p(packs), p(teeth), p(sides), p(warps), n, TEETH, NU, NV, spp, 3, p(rgb), p(bit))
        torch.cuda.synchronize()
        assert lib.last_error() == 0
        x = despeckle(rgb).view(n, TEETH, 3, NV, NU)
        fine = torch.isfinite(x).flatten(1).all(1) & (x.mean((1, 2, 3, 4)) > 1e-3)
        pics.append(x[fine].half()); bits.append(bit[fine])
        tried += batch
    pics, bits = torch.cat(pics), torch.cat(bits)
    print("card %d: %d samples of %d scenes in %.0f s" % (RANK, len(pics), tried, time.time() - t0), flush=True)
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
    s = torch.exp(rand(n, -1.6, 1.0))
    x = soften(soften(x, s.clamp_max(2.5)).transpose(2, 3), (s * torch.exp(rand(n, -0.3, 0.7))).clamp_max(2.5)).transpose(2, 3)
    x = x.clamp_min(0)
    x = x / (1 + rand(n, 0, 0.5) * x)
    x = x.clamp(0, 1) ** (1 / rand(n, 1.9, 2.5))
    x = torch.lerp(x, x * x * (3 - 2 * x), rand(n, -0.1, 0.6))
    g = x.mean(1, keepdim=True)
    x = g + (x - g) * rand(n, 0.5, 1.4)
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
    dice = 1 - (2 * (a * b).sum((2, 3)) + 20) / (a.sum((2, 3)) + b.sum((2, 3)) + 20)
    us = (torch.arange(w, device=DEV) + 0.5) / w
    vs = (torch.arange(NV // 2, device=DEV) + 0.5) / (NV // 2)
    mid = lambda m: ((m.sum(2) * us).sum(2) / (m.sum((2, 3)) + 1), (m.sum(3) * vs).sum(2) / (m.sum((2, 3)) + 1))
    real = (b.sum((2, 3)) > 40).float()
    off = [((p - t).abs() * real).sum() / (real.sum() + 1) for p, t in zip(mid(a), mid(b))]
    return l_c + 0.3 * l_f + 0.3 * dice.mean() + 2 * (off[0] + off[1]), (l_c.detach(), l_f.detach(), dice.mean().detach(), off[0].detach(), off[1].detach())


def main():
    a = argparse.ArgumentParser()
    a.add_argument("--render-seconds", type=float, default=60)
    a.add_argument("--train-seconds", type=float, default=200)
    a.add_argument("--spp", type=int, default=12)
    a.add_argument("--seed", type=int, default=20_000_000)
    a.add_argument("--batch", type=int, default=48)
    a.add_argument("--rate", type=float, default=3e-3)
    a.add_argument("--resume")
    a.add_argument("--out", default=".")
    a = a.parse_args()
    pool = ProcessPoolExecutor(14)      # forked before the card is touched
    list(pool.map(draw, [[i] for i in range(56)]))
    torch.backends.cudnn.benchmark = True
    torch.cuda.set_device(DEV)
    torch.manual_seed(RANK + a.seed)
    if WORLD > 1:
        dist.init_process_group("nccl")
    lib = train.library()
    pics, bits = render(lib, pool, a.render_seconds, a.seed + RANK * 1_000_000, a.spp)
    pool.shutdown(wait=False, cancel_futures=True)
    held = min(192, len(pics) // 8)
    net = FlankNet(PATCH_WIDTHS, 2).to(DEV).to(memory_format=torch.channels_last)
    if a.resume:
        net.load_state_dict(torch.load(a.resume, map_location=DEV))
    for p in net.state_dict().values():
        if WORLD > 1:
            dist.broadcast(p, 0)
    average = copy.deepcopy(net)
    step_net = torch.nn.parallel.DistributedDataParallel(net, device_ids=[DEV], broadcast_buffers=False) if WORLD > 1 else net
    print("card", RANK, "parameters", sum(p.numel() for p in net.parameters()), "samples", len(pics), flush=True)
    opt = torch.optim.AdamW(net.parameters(), lr=a.rate, weight_decay=1e-4)
    t0, step, mean = time.time(), 0, None
    done = torch.zeros(1, device=DEV)
    rng = np.random.default_rng(5)
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
        k = int(rng.choice([1, 2, 3, 4, 4]))
        i = torch.randint(held, len(pics), (a.batch,), device=DEV)
        with torch.no_grad():
            x, t = augment(pics[i][:, :k], bits[i][:, :k])
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
            print("%5d %4.0f s  contact %.4f  compound %.4f  overlap %.4f  centre off %.4f %.4f" % (step, time.time() - t0, *mean.tolist()), flush=True)
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
    os.makedirs(a.out, exist_ok=True)
    torch.save(net.state_dict(), os.path.join(a.out, "patch_network.pt"))
    with torch.no_grad():
        tot = torch.zeros(5, device=DEV); c = 0
        for i in range(0, held, 32):
            x, t = augment(pics[i:i + 32], bits[i:i + 32])
            out = net(x).float()
            tot += torch.stack(loss_of(out, *t)[1]); c += 1
            if i == 0:
                low = lambda m: m.clamp(0, 1)[:12, None].expand(-1, 3, -1, -1)
                show = torch.cat([F.avg_pool2d(x[:12], 2).clamp(0, 1), low(torch.sigmoid(out[:, 0])), low(t[0]), low(torch.sigmoid(out[:, 1])), low(t[1])], 3)
    print("held apart: contact %.4f  compound %.4f  overlap %.4f  centre off %.4f %.4f" % tuple((tot / max(c, 1)).tolist()))
    from PIL import Image
    rows = torch.cat([torch.cat(list(show[i:i + 2]), 2) for i in range(0, 12, 2)], 1)
    Image.fromarray((rows.permute(1, 2, 0).clamp(0, 1).cpu().numpy() * 255).astype(np.uint8)).save(os.path.join(a.out, "patches.png"))


if __name__ == "__main__":
    main()
