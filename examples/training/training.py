"""What training either network shares: the card of this process, the renderer's library, drawing scenes ahead, and the loop itself.

Import this before torch: it chooses the process's card.
"""
import argparse, copy, ctypes, os, subprocess, tempfile, time
from concurrent.futures import ThreadPoolExecutor
import numpy as np
RANK, WORLD = int(os.environ.get("RANK", 0)), int(os.environ.get("WORLD_SIZE", 1))
if WORLD > 1:       # one card for each process; the renderer takes the first it sees
    seen = os.environ.get("CUDA_VISIBLE_DEVICES")
    local = int(os.environ["LOCAL_RANK"])
    os.environ["CUDA_VISIBLE_DEVICES"] = seen.split(",")[local] if seen else str(local)
import torch
import torch.distributed as dist
import torch.nn.functional as F
import scenes
from export import exported

DEV = "cuda:0"
HERE = os.path.dirname(os.path.abspath(__file__))


def arguments(render_seconds, train_seconds, spp, seed, rate, flags=()):
    """The command line of both trainings, with its defaults and the flags of one of them."""
    a = argparse.ArgumentParser()
    a.add_argument("--render-seconds", type=float, default=render_seconds)
    a.add_argument("--train-seconds", type=float, default=train_seconds)
    a.add_argument("--spp", type=int, default=spp)
    a.add_argument("--seed", type=int, default=seed)
    a.add_argument("--batch", type=int, default=48)
    a.add_argument("--rate", type=float, default=rate)
    a.add_argument("--resume", help="weights to go on from: of an earlier run (.pt), or as the program has them (.onnx)")
    a.add_argument("--keep", help="folder of this machine for what was rendered, so that a later run goes on with it and its own")
    a.add_argument("--out", default=".")
    for flag in flags:
        a.add_argument(flag, action="store_true")
    return a.parse_args()


def start(seed):
    """Threads that draw scenes, a few milliseconds each, and the renderer. Forked processes did it until one of them hung."""
    pool = ThreadPoolExecutor(2)
    torch.backends.cudnn.benchmark = True
    torch.cuda.set_device(DEV)
    torch.manual_seed(RANK + seed)
    if WORLD > 1:
        dist.init_process_group("nccl")
    so = os.path.join(tempfile.mkdtemp(), "renderer.so")
    subprocess.check_call(["nvcc", "-O3", "-use_fast_math", "-shared", "-Xcompiler", "-fPIC", "-arch=native", os.path.join(HERE, "renderer.cu"), "-o", so])
    lib = ctypes.CDLL(so)
    assert lib.scene_floats() == scenes.SIZE, (lib.scene_floats(), scenes.SIZE)
    return pool, lib


def pointer(t):
    return ctypes.c_void_p(t.data_ptr())


def drawn(pool, draw, seconds, seed, batch):
    """For so many seconds: what `draw` makes of the next `batch` seeds, drawn ahead."""
    t0, ahead = time.time(), []
    for k in range(24):
        ahead.append(pool.submit(draw, list(range(seed + k * batch, seed + (k + 1) * batch))))
    following = seed + 24 * batch
    while time.time() - t0 < seconds:
        ahead.append(pool.submit(draw, list(range(following, following + batch))))
        following += batch
        yield ahead.pop(0).result()
    for late in ahead:
        late.cancel()


def rendered(a, draw, render, apart):
    """What this run renders, each card from seeds `apart` further on, with what earlier runs kept."""
    pool, lib = start(a.seed)
    new = render(lib, pool, a.render_seconds, a.seed + RANK * apart, a.spp)
    pool.shutdown(wait=False, cancel_futures=True)
    all_of_them = kept(a.keep, new, a.seed) if a.keep else new
    print("card", RANK, "trains on", len(all_of_them[0]), flush=True)
    return all_of_them


def kept(folder, new, seed):
    """What earlier runs rendered on this card and left in the folder, behind what this one did, which goes there too."""
    os.makedirs(folder, exist_ok=True)
    mine = "rendered%s_%d_" % (os.environ.get("CUDA_VISIBLE_DEVICES", "0").replace(",", "-"), RANK)
    old = [torch.load(os.path.join(folder, f), map_location=DEV) for f in sorted(os.listdir(folder)) if f.startswith(mine)]
    torch.save(new, os.path.join(folder, "%s%d.pt" % (mine, seed)))
    return [torch.cat(parts) for parts in zip(new, *old)]


def rand(n, lo, hi):
    return lo + (hi - lo) * torch.rand(n, 1, 1, 1, device=DEV)


def despeckle(x):
    """Path-tracing speckles are no camera noise: pixels far brighter than their surroundings get the local median."""
    p = F.pad(x, (1, 1, 1, 1), mode="replicate")
    n = torch.stack([p[:, :, i:i + x.shape[2], j:j + x.shape[3]] for i in range(3) for j in range(3)])
    med = n.median(0).values
    lum, lm = x.mean(1, keepdim=True), med.mean(1, keepdim=True)
    return torch.where(lum > 1.6 * lm + 0.01, med, x)


def fit(net, a, sample, loss_of, names):
    """Trains for a.train_seconds and returns the running average of the weights, which is the same on every card.

    sample(step) gives input and labels of a batch; loss_of(output, *labels) the loss and its parts, which `names` are the names of.
    """
    net = net.to(DEV).to(memory_format=torch.channels_last)
    if a.resume and a.resume.endswith(".onnx"):
        net.take_exported(exported(a.resume), sample(0)[0])
    elif a.resume:
        net.take(torch.load(a.resume, map_location=DEV))
    for p in net.state_dict().values():
        if WORLD > 1:
            dist.broadcast(p, 0)
    average = copy.deepcopy(net)
    step_net = torch.nn.parallel.DistributedDataParallel(net, device_ids=[DEV], broadcast_buffers=False) if WORLD > 1 else net
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
        with torch.no_grad():
            x, t = sample(step)
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
        if (step % 500 == 0 or step == 60) and RANK == 0:     # early: about what it began with
            print("%5d %4.0f s  %s" % (step, time.time() - t0, said(names, mean)), flush=True)
            os.makedirs(a.out, exist_ok=True)
            torch.save(average.state_dict(), os.path.join(a.out, "so_far.pt"))      # a machine may be taken back before the end
    if WORLD > 1:   # each card's running means are of its own pictures
        for p in average.state_dict().values():
            if p.is_floating_point():
                dist.all_reduce(p)
                p /= WORLD
        dist.destroy_process_group()
    return average.eval()


@torch.no_grad()
def look_apart(net, a, name, held, batch, loss_of, names, shown, across=2):
    """Writes the weights, what they make of the samples that training left out, and a picture of a dozen of those.

    batch(slice) gives input and labels; shown(input, output, labels) pictures of one size for each of a dozen, `across` of them side by side.
    """
    os.makedirs(a.out, exist_ok=True)
    torch.save(net.state_dict(), os.path.join(a.out, name + "_network.pt"))
    parts, show = [], None
    for i in range(0, held, 32):
        x, t = batch(slice(i, i + 32))
        out = net(x).float()
        parts.append(torch.stack(loss_of(out, *t)[1]))
        if show is None:
            show = shown(x[:12], out[:12], [one[:12] for one in t])
    print("held apart: " + said(names, torch.stack(parts).mean(0)))
    from PIL import Image
    rows = torch.cat([torch.cat(list(show[i:i + across]), 2) for i in range(0, 12, across)], 1)
    Image.fromarray((rows.permute(1, 2, 0).clamp(0, 1).cpu().numpy() * 255).astype(np.uint8)).save(os.path.join(a.out, name + "_samples.png"))


def said(names, parts):
    return "  ".join("%s %.4f" % pair for pair in zip(names, parts.tolist()))
