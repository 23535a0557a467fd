"""Folds batch normalisation into the convolutions and writes the weights in the form src/network reads.

    python3 export.py OUT.bin RUN … [--eight [LEAST]]

RUN is a run's weights (.pt) or a file that this program wrote (.bin). Of several that went on from one another the mean of their weights is written,
batch normalisation folded first. --eight keeps weights as whole numbers of eight bits, each output of a layer with a scale of its own, in all layers or in
those of at least so many weights; else they are half precision.

File: b"flanknet", u8 stride of the first layer, then for each layer u32 out, in, kernel, bytes of a weight; the weights (group of eight out, in, ky, kx, out in its group; the last
group filled up with zeros), f16 or i8; for i8, f32 scales (out); f32 biases (out); all little-endian. Layers in the order of use: stem, down pairs, deep pair, then for each level from deep to shallow lift and up pair, head.
Needs numpy only.
"""
import argparse, pickle, struct, zipfile
import numpy as np

MAGIC = b"flanknet"
GROUP = 8           # outputs whose weights lie together
EPS = 1e-5          # PyTorch's default for BatchNorm2d
STRIDES = {5: 2, 7: 4}     # of the first layer, by its kernel; network.py has the other way


def load(path):
    """Reads a PyTorch state dictionary without PyTorch."""
    z = zipfile.ZipFile(path)
    root = next(n for n in z.namelist() if n.endswith("data.pkl"))[:-len("data.pkl")]

    class Storage:
        def __init__(self, key):
            self.key = key

    def rebuild(storage, offset, size, stride, *_):
        a = np.frombuffer(z.read(root + "data/" + storage.key), np.float32 if len(size) else np.int64)
        return np.lib.stride_tricks.as_strided(a[offset:], size, [s * a.itemsize for s in stride]).copy() if len(size) else a[offset]

    class Reader(pickle.Unpickler):
        def find_class(self, module, name):
            if name == "_rebuild_tensor_v2":
                return rebuild
            if name == "OrderedDict":
                return type("Ordered", (dict,), {})
            return type(name, (), {})

        def persistent_load(self, pid):
            return Storage(pid[2])

    import io
    return Reader(io.BytesIO(z.read(root + "data.pkl"))).load()


def layers(p):
    def fold(conv, norm):
        k = p[norm + ".weight"] / np.sqrt(p[norm + ".running_var"] + EPS)
        return p[conv + ".weight"] * k[:, None, None, None], p[norm + ".bias"] - p[norm + ".running_mean"] * k

    levels = sum(k.endswith("c1.weight") and k.startswith("down") for k in p)
    yield fold("stem", "stem_n")
    pair = lambda n: [fold(n + ".c1", n + ".n1"), fold(n + ".c2", n + ".n2")]
    for i in range(levels):
        yield from pair("down.%d" % i)
    yield from pair("deep")
    for i in range(levels - 2, -1, -1):
        yield p["lift.%d.weight" % i], p["lift.%d.bias" % i]
        yield from pair("up.%d" % i)
    yield p["head.weight"], p["head.bias"]


def exported(path):
    """The layers of a file that this program wrote: weights and biases."""
    data = open(path, "rb").read()
    at = len(MAGIC) + 1
    assert data.startswith(MAGIC), path

    def take(kind, count):
        nonlocal at
        values = np.frombuffer(data, kind, count, at)
        at += values.nbytes
        return values.astype(np.float32)

    while at < len(data):
        out, inputs, kernel, size = struct.unpack_from("<4I", data, at)
        at += 16
        groups = -(-out // GROUP)
        w = take("<f2" if size == 2 else "i1", groups * GROUP * inputs * kernel * kernel).reshape(groups, inputs, kernel, kernel, GROUP)
        w = np.moveaxis(w, 4, 1).reshape(groups * GROUP, inputs, kernel, kernel)[:out]
        if size == 1:
            w = w * take("<f4", out)[:, None, None, None]
        yield w, take("<f4", out)


def grouped(w):
    """Weights in the order of the file."""
    groups = -(-len(w) // GROUP)
    w = np.concatenate([w, np.zeros((groups * GROUP - len(w), *w.shape[1:]))])
    return np.moveaxis(w.reshape(groups, GROUP, *w.shape[1:]), 1, 4)


def mean_of(runs):
    """Layers of which each weight is the mean of the runs'."""
    return [tuple(np.mean(part, 0) for part in zip(*layer)) for layer in zip(*runs, strict=True)]


def main():
    a = argparse.ArgumentParser()
    a.add_argument("out")
    a.add_argument("runs", nargs="+")
    a.add_argument("--eight", type=int, nargs="?", const=0)
    a = a.parse_args()
    mean = mean_of([exported(run) if run.endswith(".bin") else layers(load(run)) for run in a.runs])
    with open(a.out, "wb") as f:
        f.write(MAGIC + bytes([STRIDES[mean[0][0].shape[2]]]))
        for w, b in mean:
            eight = a.eight is not None and w.size >= a.eight
            f.write(struct.pack("<4I", w.shape[0], w.shape[1], w.shape[2], 1 if eight else 2))
            if eight:
                scale = (np.abs(w).max((1, 2, 3)) / 127).astype("<f4")
                f.write(np.round(grouped(w / scale[:, None, None, None])).astype("i1").tobytes())
                f.write(scale.tobytes())
            else:
                f.write(grouped(w).astype("<f2").tobytes())
            f.write(b.astype("<f4").tobytes())


if __name__ == "__main__":
    main()
